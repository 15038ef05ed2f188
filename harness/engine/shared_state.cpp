#include "harness/engine/shared_state.hpp"

#include <fcntl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <new>

namespace trackrod {
namespace {

Result<void*> map(int descriptor) {
  void* at = mmap(nullptr, sizeof(SharedState), PROT_READ | PROT_WRITE, MAP_SHARED, descriptor, 0);
  if (at == MAP_FAILED) return fail_os(Fault::internal, "the memory shared by loop and keeper cannot be mapped", errno);
  return at;
}

}  // namespace

Result<SharedMapping> SharedMapping::create() {
  const int fd = memfd_create("trackrod-run", MFD_CLOEXEC);
  if (fd < 0 || ftruncate(fd, sizeof(SharedState)) != 0) {
    const int error = errno;
    if (fd >= 0) close(fd);
    return fail_os(Fault::internal, "no memory to share between loop and keeper", error);
  }
  auto at = map(fd);
  if (!at) {
    close(fd);
    return tl::unexpected<Error>{at.error()};
  }
  return SharedMapping{fd, new (*at) SharedState};
}

Result<SharedMapping> SharedMapping::attach(int descriptor) {
  auto at = map(descriptor);
  if (!at) return tl::unexpected<Error>{at.error()};
  return SharedMapping{descriptor, static_cast<SharedState*>(*at)};
}

SharedMapping::SharedMapping(SharedMapping&& other) noexcept
    : descriptor_{std::exchange(other.descriptor_, -1)}, state_{std::exchange(other.state_, nullptr)} {}

SharedMapping::~SharedMapping() {
  if (state_ != nullptr) munmap(state_, sizeof(SharedState));
  if (descriptor_ >= 0) close(descriptor_);
}

std::optional<StopCause> SharedMinder::stop_asked() const noexcept {
  const auto stop = shared_.stop.load(std::memory_order_relaxed);
  if (stop == 0) return std::nullopt;
  return static_cast<StopCause>(stop - 1);
}

void SharedMinder::beat(BenchTime now, RunState state, std::span<const double> sent,
                        std::span<Device* const> devices) noexcept {
  const auto next = 1 - shared_.testament.load(std::memory_order_relaxed);
  auto& testament = shared_.testaments[next];
  std::copy_n(sent.begin(), std::min(sent.size(), most_signals), testament.sent.begin());
  for (std::size_t d = 0; d < std::min(devices.size(), most_devices); ++d) devices[d]->remember(testament.protocols[d]);
  shared_.testament.store(next, std::memory_order_release);
  shared_.state.store(static_cast<std::uint32_t>(state), std::memory_order_relaxed);
  shared_.beat_ns.store(now.time_since_epoch().count(), std::memory_order_release);
}

}  // namespace trackrod
