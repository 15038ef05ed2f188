// Memory of the reading side against the length of the run.
#include <malloc.h>
#include <sys/wait.h>

#include <atomic>
#include <cstdlib>
#include <new>

#include "harness/capture/archive.hpp"
#include "tests/capture/helpers.hpp"
#include "tests/catch.hpp"

// A sanitizer keeps freed memory, so that the size of its process says nothing, and has operators of its own.
#ifndef TRACKROD_SANITIZED

using namespace trackrod;
using namespace trackrod::test;

namespace {

std::atomic<std::size_t> in_use{0}, most{0};

}  // namespace

// Counts what the whole test program holds on the heap through C++.
[[gnu::noinline]] void* operator new(std::size_t size) {
  void* p = std::malloc(size);
  if (p == nullptr) throw std::bad_alloc{};
  const auto now = in_use += malloc_usable_size(p);
  auto seen = most.load();
  while (now > seen && !most.compare_exchange_weak(seen, now)) {
  }
  return p;
}
[[gnu::noinline]] void operator delete(void* p) noexcept {
  if (p != nullptr) in_use -= malloc_usable_size(p);
  std::free(p);
}
void operator delete(void* p, std::size_t) noexcept { operator delete(p); }
void* operator new(std::size_t size, const std::nothrow_t&) noexcept try {
  return operator new(size);
} catch (const std::bad_alloc&) {
  return nullptr;
}
void* operator new[](std::size_t size) { return operator new(size); }
void* operator new[](std::size_t size, const std::nothrow_t& n) noexcept { return operator new(size, n); }
void operator delete(void* p, const std::nothrow_t&) noexcept { operator delete(p); }
void operator delete[](void* p) noexcept { operator delete(p); }
void operator delete[](void* p, std::size_t) noexcept { operator delete(p); }
void operator delete[](void* p, const std::nothrow_t&) noexcept { operator delete(p); }

namespace {

// One signal and the ticks, a block for each tick, so that a minute has more blocks than the index has entries.
void record(const std::string& dir, std::uint32_t minutes) {
  auto writer = JournalWriter::create(dir, small_header());
  REQUIRE(writer);
  bool good = true;
  for (std::uint32_t n = 0; n < minutes * 60000; ++n) {
    const auto due = at(5s + n * 1ms);
    good = good && writer->put(Sample{due, 0.01 * (n % 4000), 1000, 0, StampedBy::kernel});
    good = good && writer->put(Tick{due, n, n % 90000, 1000, 1000});
    good = good && writer->flush();
  }
  REQUIRE(good);
  REQUIRE(writer->end(at(5s + minutes * 60s), "finished"));
}

// The most that the heap grew by while the journal was opened and read in windows of ten seconds.
std::size_t heap_to_read(const std::string& dir, std::uint32_t minutes) {
  const auto before = in_use.load();
  most = before;
  const auto capture = JournalCapture::open(dir);
  REQUIRE(capture);
  std::size_t points = 0;
  for (std::uint32_t ten_seconds = 0; ten_seconds < 6 * minutes; ++ten_seconds) {
    const auto from = at(5s + ten_seconds * 10s);
    const auto window = (*capture)->points(0, from, from + 10s);
    REQUIRE(window);
    points += window->size();
  }
  CHECK(points == minutes * 60000);
  return most - before;
}

// A line of /proc/self/status (proc(5)), in KiB.
long resident(const std::string& name) {
  std::ifstream status{"/proc/self/status"};
  for (std::string word; status >> word;)
    if (word == name && status >> word) return std::stol(word);
  return -1;
}

// By how much, in KiB, a process grows while it makes an archive; HDF5's own memory included.
long size_to_archive(const std::string& dir, const std::string& path) {
  int ends[2];
  REQUIRE(pipe(ends) == 0);
  const auto child = fork();
  if (child == 0) {
    const auto before = resident("VmRSS:");
    const auto capture = JournalCapture::open(dir);
    const bool good = capture && write_archive(**capture, path);
    const auto grown = resident("VmHWM:") - before;
    _exit(good && write(ends[1], &grown, sizeof grown) == sizeof grown ? 0 : 1);
  }
  close(ends[1]);
  long grown = 0;
  REQUIRE(read(ends[0], &grown, sizeof grown) == sizeof grown);
  close(ends[0]);
  REQUIRE(waitpid(child, nullptr, 0) == child);
  return grown;
}

}  // namespace

TEST_CASE("the memory of reading and archiving does not grow with the length of the run") {
  Folder folder;
  const std::uint32_t lengths[] = {1, 4, 16};
  for (const auto minutes : lengths) record(folder / std::to_string(minutes), minutes);
  const auto heap_1 = heap_to_read(folder / "1", 1), heap_4 = heap_to_read(folder / "4", 4),
             heap_16 = heap_to_read(folder / "16", 16);
  CAPTURE(heap_1, heap_4, heap_16);
  CHECK(static_cast<double>(heap_4) <= 1.05 * static_cast<double>(heap_1));
  CHECK(static_cast<double>(heap_16) <= 1.05 * static_cast<double>(heap_1));
  const auto size_1 = size_to_archive(folder / "1", folder / "1.h5"),
             size_4 = size_to_archive(folder / "4", folder / "4.h5"),
             size_16 = size_to_archive(folder / "16", folder / "16.h5");
  CAPTURE(size_1, size_4, size_16);
  CHECK(size_1 > 500);  // a measure that shows nothing would prove nothing
  CHECK(static_cast<double>(size_4) <= 1.05 * static_cast<double>(size_1));
  CHECK(static_cast<double>(size_16) <= 1.05 * static_cast<double>(size_1));
}

#endif
