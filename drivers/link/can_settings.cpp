// What a bench file says about a CAN bus, and how its wire behaves in a rehearsal.

#include "drivers/link/can_link.hpp"
#include "drivers/link/clock_pair.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

// As the system allows names of network interfaces: up to 15 characters, no slash, no space.
Shape<std::string> interface_name() {
  auto shape = text();
  const auto read = shape.read;
  shape.read = [read](const Node& n, std::string& out, Problems& p) {
    if (!read(n, out, p)) return false;
    if (out.size() <= 15 && out.find_first_of("/: \t\n") == std::string::npos && out != "." && out != "..") return true;
    p.add(n.at, "found " + n.shown(), "the name of a network interface, up to 15 characters, such as \"can0\"",
          "'ip link show type can' lists them");
    return false;
  };
  return shape;
}

// The time on the wire of a frame with an 11-bit identifier, as a fixed part and a part for each byte of the datagram
// (5 bytes of header and the data), with as many stuff bits as there can be: a rehearsal shall not be faster than the
// bench. Bit counts of ISO 11898-1.
void model_frame(const CanSettings& s, WireModel& model) {
  constexpr int header = static_cast<int>(can_header_size);
  const double bit = 1e9 / s.bit_rate;
  if (!s.fd) {  // 55 + 10 n bits
    model.byte_time = Duration{static_cast<Duration::rep>(10 * bit)};
    model.message_time = Duration{static_cast<Duration::rep>((55 - 10 * header) * bit)};
    return;
  }
  // 17 bits before the switch (21 with stuff bits) and 12 after it; between them 40 + 10 n, with the longer checksum.
  const double data_bit = 1e9 / s.data_bit_rate.value_or(s.bit_rate);
  model.byte_time = Duration{static_cast<Duration::rep>(10 * data_bit)};
  model.message_time = Duration{static_cast<Duration::rep>(33 * bit + (40 - 10 * header) * data_bit)};
}

}  // namespace

const Fields<CanSettings>& can_fields() {
  static const auto fields =
      Fields<CanSettings>{"can", "A CAN bus, by an interface of the system (SocketCAN)."}
          .need("interface", &CanSettings::interface, interface_name(), "name of the network interface, such as can0")
          .may("fd", &CanSettings::fd, flag(), "CAN FD frames may be sent and taken (default: classic CAN only)")
          .may("bit_rate", &CanSettings::bit_rate, integer<int>(10000, 1000000),
               "bits a second that the controller must be set to (500000 when not given)")
          .may("data_bit_rate", &CanSettings::data_bit_rate, maybe(integer<int>(10000, 8000000)),
               "FD: bits a second of data at the switched rate")
          .may("stamp_within", &CanSettings::stamp_within, maybe(duration(1us, 100ms)),
               "half-width of the kernel's time stamps (0.05 ms when not given, 1 ms for an adapter on USB)")
          .may("give_up", &CanSettings::give_up, duration(1ms, 10s),
               "a frame that the bus does not take for so long is dropped and counted (20 ms when not given)")
          .may("receive_buffer", &CanSettings::receive_buffer, integer<std::int64_t>(4096, 1 << 28),
               "bytes in which the system keeps what waits to be read (1048576 when not given)");
  return fields;
}

LinkKind can_kind() {
  return opened_by<CanLink, CanSettings>(
      kind<CanSettings>("can", can_fields),
      // A second socket on the same interface, or one on the other end of a virtual cable: the bus is the same.
      [](const std::any& any) -> Result<std::unique_ptr<Link>> {
        return CanLink::open(std::any_cast<const CanSettings&>(any));
      },
      [](const std::any& any) {
        const auto& s = std::any_cast<const CanSettings&>(any);
        // Up to one frame of others goes first: the shortest wait that a shared bus has. From the arbitration of
        // CAN.
        WireModel model;
        model.mode = Carries::can_frames;
        model_frame(s, model);
        const auto one_frame = model.message_time + model.byte_time * static_cast<int>(can_header_size + 8);
        model.outward = model.inward = WirePath{20us, one_frame, 0.0};
        model.stamp_uncertainty = s.stamp_within.value_or(kernel_stamp_half_width);
        return model;
      },
      [](const std::any&) { return std::string{}; });
}

}  // namespace trackrod
