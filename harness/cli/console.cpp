#include "harness/cli/console.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <nlohmann/json.hpp>
#include <string_view>

#include "harness/base/units.hpp"
#include "harness/report/table.hpp"

namespace trackrod {
namespace {

bool utf8_locale() {
  for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"}) {
    const char* value = std::getenv(name);
    if (value == nullptr || *value == '\0') continue;
    const std::string_view v{value};
    return v.find("UTF-8") != v.npos || v.find("utf8") != v.npos;
  }
  return false;
}

}  // namespace

Console::Console(bool json)
    : json_{json},
      terminal_{isatty(json ? STDERR_FILENO : STDOUT_FILENO) != 0},
      colour_{colour_wanted(terminal_)},
      unicode_{utf8_locale()},
      width_{100} {
  winsize size{};
  if (terminal_ && ioctl(json ? STDERR_FILENO : STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
    width_ = std::clamp<int>(size.ws_col, 40, 160);
}

void Console::say(const std::string& text) const {
  std::fprintf(json_ ? stderr : stdout, "%s\n", text.c_str());
  std::fflush(json_ ? stderr : stdout);
}

void Console::give(const std::string& json_text) const {
  if (json_) std::fputs(json_text.c_str(), stdout);
}

void Console::complain(const std::string& text) const { std::fprintf(stderr, "trackrod: %s\n", text.c_str()); }

void Console::complain(const Problems& problems) const {
  if (json_) {
    auto list = nlohmann::ordered_json::array();
    for (const auto& p : problems.sorted())
      list.push_back({{"file", p.at.file},
                      {"line", p.at.line},
                      {"column", p.at.column},
                      {"path", p.at.path},
                      {"found", p.found},
                      {"allowed", p.allowed},
                      {"advice", p.advice}});
    give(nlohmann::ordered_json{{"problems", list}}.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) +
         "\n");
  }
  for (const auto& p : problems.sorted()) std::fprintf(stderr, "%s\n", p.sentence().c_str());
  std::fprintf(stderr, "trackrod: %zu problem%s; nothing was started\n", problems.count(),
               problems.count() == 1 ? "" : "s");
}

void Console::progress(const std::string& line) {
  FILE* out = json_ ? stderr : stdout;
  if (terminal_)
    std::fprintf(out, "\r\x1b[K%s", line.substr(0, static_cast<std::size_t>(width_)).c_str());
  else
    std::fprintf(out, "%s\n", line.c_str());
  std::fflush(out);
  in_progress_ = true;
}

void Console::end_progress() {
  if (in_progress_ && terminal_) std::fputs("\n", json_ ? stderr : stdout);
  in_progress_ = false;
}

ExitStatus status_of(const Error& error) { return error.fault == Fault::bad_input ? bad_input : harness_failed; }

std::string shown_time(double s) {
  if (s < 60.0) return shown(s, 3) + " s";
  const auto whole = static_cast<long>(std::lround(s));
  std::string text;
  if (whole >= 3600) text += std::to_string(whole / 3600) + " h ";
  text += std::to_string(whole / 60 % 60) + " min";
  if (whole < 3600) text += " " + std::to_string(whole % 60) + " s";
  return text;
}

}  // namespace trackrod
