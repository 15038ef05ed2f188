// In a file of its own: where the compiler sees both this and its callers it warns of the pairing.

#include "tests/plan/allocations.hpp"

#include <atomic>
#include <cstdlib>
#include <new>

namespace {
std::atomic<std::size_t> count{0};
}
void* operator new(std::size_t size) {
  ++count;
  if (void* p = std::malloc(size)) return p;
  throw std::bad_alloc{};
}
// A sanitizer has a nothrow form of its own, which would not go with our delete.
void* operator new(std::size_t size, const std::nothrow_t&) noexcept {
  ++count;
  return std::malloc(size);
}
void operator delete(void* p) noexcept { std::free(p); }
void operator delete(void* p, std::size_t) noexcept { std::free(p); }

std::size_t trackrod::test::allocations() { return count; }
