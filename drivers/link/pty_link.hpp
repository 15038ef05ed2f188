#pragma once
// The far end of a serial line, for programs that stand in for a device: a pseudo-terminal that others open by a path.

#include "drivers/link/byte_stream.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

// While nobody has the path open it is idle, not lost: it waits for the next one who opens it, as a device does.
class PtyLink final : public Link {
 public:
  // Makes `path` a symbolic link to the new terminal; one that is left over there is replaced. Error kinds: refused,
  // storage (the path cannot be made), internal.
  static Result<std::unique_ptr<PtyLink>> open(const std::string& path);
  ~PtyLink() override;  // takes `path` away
  PtyLink(const PtyLink&) = delete;
  PtyLink& operator=(const PtyLink&) = delete;

  int descriptor() const noexcept override { return master_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  // Bytes for nobody are thrown away, as on a wire.
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override;
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "pseudo-terminal " + path_ + " -> " + terminal_; }

 private:
  PtyLink(std::string path, std::string terminal, int master);

  std::string path_, terminal_;
  int master_;
  StreamReads reads_;
  LinkCounters counters_;
};

}  // namespace trackrod
