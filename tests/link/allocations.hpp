#pragma once
// Counts what all threads of a test program allocate. Include it in one source file of a program only: it defines
// malloc. Under a sanitizer, which has a malloc of its own, the sanitizer's hook counts instead.

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <cstdlib>

namespace allocations {
inline std::atomic<std::uint64_t> made{0};
inline std::uint64_t so_far() { return made.load(); }
}  // namespace allocations

#ifdef TRACKROD_SANITIZED

extern "C" int __sanitizer_install_malloc_and_free_hooks(void (*)(const volatile void*, std::size_t),
                                                         void (*)(const volatile void*));
namespace allocations {
inline const int hooked = __sanitizer_install_malloc_and_free_hooks([](const volatile void*, std::size_t) { ++made; },
                                                                    [](const volatile void*) {});
}

#else

extern "C" {
void* __libc_malloc(std::size_t);
void* __libc_calloc(std::size_t, std::size_t);
void* __libc_realloc(void*, std::size_t);
void* __libc_memalign(std::size_t, std::size_t);

void* malloc(std::size_t size) noexcept {
  ++allocations::made;
  return __libc_malloc(size);
}
void* calloc(std::size_t count, std::size_t size) noexcept {
  ++allocations::made;
  return __libc_calloc(count, size);
}
void* realloc(void* old, std::size_t size) noexcept {
  ++allocations::made;
  return __libc_realloc(old, size);
}
void* aligned_alloc(std::size_t alignment, std::size_t size) noexcept {
  ++allocations::made;
  return __libc_memalign(alignment, size);
}
}

#endif
