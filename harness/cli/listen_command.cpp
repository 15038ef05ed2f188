// `trackrod listen`: shows what arrives on a device's link, as bytes and as the fields that the protocol finds in them.
// Sends nothing.

#include <poll.h>

#include <csignal>
#include <cstring>
#include <nlohmann/json.hpp>

#include "drivers/device/device_set.hpp"
#include "drivers/link/reader.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

volatile std::sig_atomic_t stop_asked = 0;

class Fields final : public FieldSink {
 public:
  explicit Fields(const Protocol& protocol) : protocol_{protocol} {}
  void field(FieldIndex field, double value, Stamp) noexcept override {
    found_.emplace_back(protocol_.fields()[field].name, value);
  }
  std::vector<std::pair<std::string, double>> take() { return std::exchange(found_, {}); }

 private:
  const Protocol& protocol_;
  std::vector<std::pair<std::string, double>> found_;
};

std::string hex(std::span<const std::byte> bytes) {
  std::string text;
  char two[4];
  for (const auto b : bytes) {
    std::snprintf(two, sizeof two, "%02x", std::to_integer<unsigned>(b));
    text += (text.empty() ? "" : " ") + std::string{two};
  }
  return text;
}

const char* stamped_by(StampedBy by) {
  switch (by) {
    case StampedBy::device:
      return "device";
    case StampedBy::kernel:
      return "kernel";
    case StampedBy::harness:
      break;
  }
  return "harness";
}

// One line a message.
class Listener {
 public:
  Listener(Protocol& protocol, const Console& console, BenchTime start)
      : protocol_{protocol}, fields_{protocol}, console_{console}, start_{start} {}

  void arrived(const Arrival& arrival) {
    const bool intact = protocol_.on_bytes(arrival.data(), arrival.stamp, fields_);
    const auto found = fields_.take();
    ++count_;
    if (console_.json()) {
      Json values = Json::object();
      for (const auto& [name, value] : found) values[name] = value;
      console_.give(Json{{"t_s", seconds(arrival.stamp.when - start_)},
                         {"stamped_by", stamped_by(arrival.stamp.by)},
                         {"uncertainty_us", 1e6 * seconds(arrival.stamp.uncertainty)},
                         {"bytes", hex(arrival.data())},
                         {"intact", intact},
                         {"fields", values}}
                        .dump() +
                    "\n");
      return;
    }
    char when[32];
    std::snprintf(when, sizeof when, "%12.6f s  ", seconds(arrival.stamp.when - start_));
    auto line = when + hex(arrival.data());
    if (!intact) line += "  (no intact message)";
    for (const auto& [name, value] : found) line += "  " + name + "=" + shown(value);
    console_.say(line);
  }
  std::size_t count() const { return count_; }

 private:
  Protocol& protocol_;
  Fields fields_;
  const Console& console_;
  BenchTime start_;
  std::size_t count_{0};
};

int listen_to(const DeviceSpec& device, const ListenOptions& options, Duration how_long, Console& console) {
  auto link = link_kind(device.link.kind).open(device.link.value);
  if (!link) return console.complain(link.error()), status_of(link.error());
  const auto protocol = make_protocol(device, Side::bench);
  (*link)->want(protocol->wanted(), protocol->sends());
  std::signal(SIGINT, [](int) { stop_asked = 1; });
  std::signal(SIGTERM, [](int) { stop_asked = 1; });

  const SteadyTime time;
  const auto start = time.now();
  Listener listener{*protocol, console, start};
  Reader reader{{link->get()}};
  bool lost = false;
  int error = 0;
  pollfd waiting{(*link)->descriptor(), POLLIN, 0};
  while (stop_asked == 0 && !lost && time.now() - start < how_long && listener.count() < options.count) {
    poll(&waiting, 1, 50);
    reader.poll_inline(time.now());
    reader.consume([&](const Arrival& arrival) {
      if (!arrival.lost() && listener.count() < options.count) listener.arrived(arrival);
      lost = lost || arrival.lost();
      if (arrival.lost()) error = arrival.error;
    });
  }
  const auto& n = protocol->counters();
  console.complain(std::to_string(listener.count()) + " arrivals, " + std::to_string(n.good) + " intact messages, " +
                   std::to_string(n.lost) + " lost, " + std::to_string(n.bad_checksum) + " with a wrong checksum, " +
                   std::to_string(n.bad_length) + " not decodable, " + std::to_string((*link)->counters().foreign) +
                   " from other senders");
  if (lost) {
    console.complain((*link)->describe() + ": lost (" + (error != 0 ? std::strerror(error) : "the far side hung up") +
                     ")");
    return harness_failed;
  }
  return all_pass;
}

}  // namespace

int listen_command(const ListenOptions& options, Console& console) {
  Loaded loaded;
  if (const auto status = load_or_complain(options.bench, "", {}, console, loaded)) return *status;
  const auto how_long = parse_duration("--for", options.how_long);
  if (!how_long) return console.complain(how_long.error()), bad_input;
  std::vector<std::string> names;
  for (const auto& device : loaded.bench->devices) {
    if (device.name == options.device) return listen_to(device, options, *how_long, console);
    names.push_back(device.name);
  }
  console.complain("found device '" + options.device + "'; allowed: " + one_of(names) + "; " +
                   did_you_mean(options.device, names));
  return bad_input;
}

}  // namespace trackrod
