#include "drivers/link/can_interface.hpp"

#include <linux/can.h>
#include <linux/can/netlink.h>
#include <linux/if_arp.h>
#include <linux/rtnetlink.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <span>
#include <vector>

namespace trackrod {
namespace {

namespace fs = std::filesystem;

std::vector<std::string> can_interfaces() {
  std::vector<std::string> names;
  std::error_code none;
  for (const auto& entry : fs::directory_iterator{"/sys/class/net", none}) {
    int type = 0;
    std::ifstream{entry.path() / "type"} >> type;
    if (type == ARPHRD_CAN) names.push_back(entry.path().filename());
  }
  return names;
}

bool sits_on_usb(const std::string& name) {
  std::error_code none;
  return fs::read_symlink("/sys/class/net/" + name + "/device/subsystem", none).filename() == "usb";
}

// Calls take(type, bytes) for each attribute.
template <class F>
void each_attribute(std::span<const char> bytes, F&& take) {
  while (bytes.size() >= sizeof(rtattr)) {
    rtattr head{};
    std::memcpy(&head, bytes.data(), sizeof head);
    if (head.rta_len < sizeof head || head.rta_len > bytes.size()) return;
    take(head.rta_type & NLA_TYPE_MASK, bytes.subspan(RTA_LENGTH(0), head.rta_len - RTA_LENGTH(0)));
    bytes = bytes.subspan(std::min<std::size_t>(bytes.size(), RTA_ALIGN(head.rta_len)));
  }
}

template <class T>
std::optional<T> as(std::span<const char> bytes) {
  T value{};
  if (bytes.size() < sizeof value) return std::nullopt;
  std::memcpy(&value, bytes.data(), sizeof value);
  return value;
}

std::string as_text(std::span<const char> bytes) { return {bytes.data(), strnlen(bytes.data(), bytes.size())}; }

void read_controller(std::span<const char> bytes, CanInterface& out) {
  each_attribute(bytes, [&](int type, std::span<const char> value) {
    if (type == IFLA_CAN_BITTIMING) {
      if (const auto timing = as<can_bittiming>(value); timing && timing->bitrate > 0) out.bit_rate = timing->bitrate;
    } else if (type == IFLA_CAN_DATA_BITTIMING) {
      if (const auto timing = as<can_bittiming>(value); timing && timing->bitrate > 0)
        out.data_bit_rate = timing->bitrate;
    } else if (type == IFLA_CAN_RESTART_MS) {
      out.restart_ms = as<std::uint32_t>(value);
    } else if (type == IFLA_CAN_STATE) {
      out.bus_off = as<std::uint32_t>(value) == CAN_STATE_BUS_OFF;
    }
  });
}

void read_attributes(std::span<const char> bytes, CanInterface& out) {
  each_attribute(bytes, [&](int type, std::span<const char> value) {
    if (type == IFLA_MTU) {
      out.takes_fd = as<std::uint32_t>(value).value_or(0) >= CANFD_MTU;
    } else if (type == IFLA_QDISC) {
      out.queue = as_text(value);
    } else if (type == IFLA_LINKINFO) {
      std::string kind;
      each_attribute(value, [&](int info, std::span<const char> inner) {
        if (info == IFLA_INFO_KIND) kind = as_text(inner);
        if (info == IFLA_INFO_DATA && kind == "can") read_controller(inner, out);
      });
    }
  });
}

// Asks the kernel for one interface; the answer's size, or -1 with errno set.
ssize_t ask(const std::string& name, std::span<char> answer) {
  struct {
    nlmsghdr head;
    ifinfomsg info;
    rtattr attribute;
    std::array<char, IFNAMSIZ> name;
  } question{};
  question.head.nlmsg_len = sizeof question;
  question.head.nlmsg_type = RTM_GETLINK;
  question.head.nlmsg_flags = NLM_F_REQUEST;
  question.attribute = {RTA_LENGTH(IFNAMSIZ), IFLA_IFNAME};
  name.copy(question.name.data(), IFNAMSIZ - 1);
  const int s = socket(AF_NETLINK, SOCK_RAW | SOCK_CLOEXEC, NETLINK_ROUTE);
  if (s < 0) return -1;
  ssize_t size = send(s, &question, sizeof question, 0);
  if (size >= 0) size = recv(s, answer.data(), answer.size(), 0);
  const int error = errno;
  close(s);
  errno = error;
  return size;
}

Error no_such(const std::string& name) {
  std::string there;
  for (const auto& n : can_interfaces()) there += (there.empty() ? "" : ", ") + n;
  return {Fault::bad_input,
          "can " + name + ": this machine has no network interface of that name; its CAN interfaces: " +
              (there.empty() ? "none" : there) +
              ". Is the adapter plugged in ('ip -details link show type can' lists those with a controller)?",
          {}};
}

std::string bring_up(const CanSettings& s, bool has_controller) {
  const auto name = s.interface;
  if (!has_controller) return "sudo ip link set " + name + (s.fd ? " mtu 72 up" : " up");
  auto command = "sudo ip link set " + name + " up type can bitrate " + std::to_string(s.bit_rate);
  if (s.fd) command += " dbitrate " + std::to_string(s.data_bit_rate.value_or(s.bit_rate)) + " fd on";
  return command + " restart-ms 100";
}

std::string anew(const CanSettings& s, bool has_controller) {
  return "'sudo ip link set " + s.interface + " down', then '" + bring_up(s, has_controller) + "'";
}

}  // namespace

Result<CanInterface> look_at_can(const std::string& name) {
  alignas(nlmsghdr) std::array<char, 16384> answer;
  const auto size = ask(name, answer);
  const std::string where = "can " + name;
  if (size < static_cast<ssize_t>(sizeof(nlmsghdr)))
    return fail_os(Fault::internal, where + ": the system does not say how the interface is set",
                   size < 0 ? errno : EPROTO);
  const auto bytes = std::span<const char>{answer}.first(static_cast<std::size_t>(size));
  const auto head = *as<nlmsghdr>(bytes);
  if (head.nlmsg_type == NLMSG_ERROR) {
    const auto error = as<nlmsgerr>(bytes.subspan(NLMSG_HDRLEN));
    if (error && error->error == -ENODEV) return tl::unexpected<Error>{no_such(name)};
    return fail_os(Fault::internal, where + ": the system does not say how the interface is set",
                   error ? -error->error : EPROTO);
  }
  const auto info = as<ifinfomsg>(bytes.subspan(NLMSG_HDRLEN));
  if (!info) return fail(Fault::internal, where + ": the system's answer about the interface is cut off");
  CanInterface found;
  found.index = info->ifi_index;
  found.is_can = info->ifi_type == ARPHRD_CAN;
  found.is_up = (info->ifi_flags & IFF_UP) != 0;
  found.is_usb = sits_on_usb(name);
  read_attributes(bytes.subspan(NLMSG_SPACE(sizeof(ifinfomsg))), found);
  return found;
}

Result<void> check_can(const CanSettings& s, const CanInterface& found) {
  const auto where = "can " + s.interface + ": ";
  if (!found.is_can)
    return fail(Fault::bad_input, where + "this network interface is no CAN bus; 'ip link show type can' lists those");
  const bool has_controller = found.bit_rate.has_value() || found.restart_ms.has_value();
  if (!found.is_up)
    return fail(Fault::refused, where + "the interface is down; bring it up: " + bring_up(s, has_controller));
  if (s.fd && !found.takes_fd)
    return fail(Fault::bad_input, where + "the bench file asks for CAN FD, and the interface is set to classic CAN; " +
                                      "where controller and bus know FD: " + anew(s, has_controller));
  const auto differs = [&](const std::optional<std::uint32_t>& is, int wanted, const char* what) -> Result<void> {
    if (!is || *is == static_cast<std::uint32_t>(wanted)) return {};
    return fail(Fault::bad_input, where + "its " + what + " is " + std::to_string(*is) +
                                      " bit/s, the bench file says " + std::to_string(wanted) +
                                      "; a node at a wrong rate disturbs the whole bus. Find "
                                      "out which one is right, then " +
                                      anew(s, has_controller));
  };
  if (auto fits = differs(found.bit_rate, s.bit_rate, "bit rate"); !fits) return fits;
  if (s.fd && s.data_bit_rate)
    if (auto fits = differs(found.data_bit_rate, *s.data_bit_rate, "data bit rate"); !fits) return fits;
  if (found.bus_off)
    return fail(Fault::refused, where +
                                    "the controller is off the bus (bus-off) after too many errors: look at the "
                                    "bit rates, the wiring and the termination; then " +
                                    anew(s, has_controller));
  return {};
}

std::string can_remark(const CanSettings& s, const CanInterface& found) {
  if (found.restart_ms && *found.restart_ms == 0)
    return "can " + s.interface +
           ": after a bus-off the controller stays off the bus until somebody restarts it; to "
           "let it come back by itself: " +
           anew(s, true);
  if (!found.queue.empty() && found.queue != "pfifo_fast" && found.queue != "noqueue" && found.queue != "pfifo")
    return "can " + s.interface + ": its frames are queued by '" + found.queue +
           "', which may drop or reorder them in "
           "silence; better: sudo tc qdisc replace dev " +
           s.interface + " root pfifo_fast";
  return "";
}

}  // namespace trackrod
