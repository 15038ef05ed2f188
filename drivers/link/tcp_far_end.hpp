#pragma once
// The far end of a TCP link, for programs that stand in for a device: listens, and talks to one at a time.

#include "drivers/link/byte_stream.hpp"
#include "drivers/link/endpoint.hpp"
#include "drivers/link/link.hpp"

namespace trackrod {

// While nobody is connected it is idle, not lost. Whoever connects last has the device: a user that died without a word
// must not keep the next one out.
class TcpFarEnd final : public Link {
 public:
  // Error kinds: refused (the address is taken or not allowed), bad_input (this machine does not have it), internal.
  static Result<std::unique_ptr<TcpFarEnd>> open(const Endpoint& here);
  ~TcpFarEnd() override;
  TcpFarEnd(const TcpFarEnd&) = delete;
  TcpFarEnd& operator=(const TcpFarEnd&) = delete;

  // Wakes for connections and for bytes.
  int descriptor() const noexcept override { return either_; }
  Received receive(std::span<std::byte> into, BenchTime now) noexcept override;
  // Bytes for nobody are thrown away.
  SendResult send(std::span<const std::byte> bytes, BenchTime now) noexcept override;
  void drop_queued_output() noexcept override {}
  const LinkCounters& counters() const noexcept override { return counters_; }
  std::string describe() const override { return "tcp <- " + here_.text(); }

 private:
  TcpFarEnd(const Endpoint& here, int listener, int either) : here_{here}, listener_{listener}, either_{either} {}
  void take_newest() noexcept;
  void hang_up() noexcept;

  Endpoint here_;
  int listener_, either_;  // either_: epoll over the listener and the connection
  int connection_{-1};
  StreamReads reads_;
  LinkCounters counters_;
};

}  // namespace trackrod
