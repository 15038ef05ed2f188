// The Debian package: built by cpack, listed, unpacked beside the system (never installed), and used from there.

#include <filesystem>
#include <memory>
#include <regex>
#include <stdexcept>

#include "tests/catch.hpp"
#include "tests/system/process.hpp"

using namespace trackrod::test;
using namespace std::chrono_literals;

namespace {

// systemd's own figure, from 0 (best) to 10: what of it is left is the network, serial devices and real time, which a
// bench needs.
constexpr double most_exposure = 2.2;

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

struct Ran {
  int status;
  std::string out, err;
};

class Package {
 public:
  // Built and unpacked once for all cases.
  static const Package& get() {
    static const Package package;
    return package;
  }
  Ran run(std::vector<std::string> command) const {
    Process process{std::move(command), folder_ + "/ran"};
    const int status = process.wait(60s);
    return {status, process.out(), process.err()};
  }
  Ran bash(const std::string& script) const { return run({"bash", "-c", script}); }
  // A path of the installed system.
  std::string at(const std::string& path) const { return folder_ + "/root" + path; }
  std::string file(const std::string& name) const { return folder_ + "/" + name; }
  const std::string& deb() const { return deb_; }

  Package(const Package&) = delete;
  Package& operator=(const Package&) = delete;

 private:
  Package() {
    char name[] = "/tmp/trackrod-test-XXXXXX";
    if (mkdtemp(name) == nullptr) throw std::runtime_error{"no folder for the test"};
    folder_ = name;
    const auto built = run({TRACKROD_CPACK, "--config", TRACKROD_BUILD_DIR "/CPackConfig.cmake", "-B",
                            folder_ + "/made", "-D", "CPACK_DEBIAN_COMPRESSION_TYPE=gzip"});
    for (const auto& entry : std::filesystem::directory_iterator{folder_ + "/made"})
      if (entry.path().extension() == ".deb") deb_ = entry.path().string();
    if (built.status != 0 || deb_.empty()) throw std::runtime_error{"cpack: " + built.out + built.err};
    if (run({"dpkg-deb", "-x", deb_, at("")}).status != 0) throw std::runtime_error{"the package does not unpack"};
  }
  ~Package() { std::filesystem::remove_all(folder_); }

  std::string folder_, deb_;
};

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in{text};
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

// The commands that the program's own help lists.
std::vector<std::string> commands(const Package& package) {
  std::vector<std::string> names;
  bool listed = false;
  for (const auto& line : lines_of(package.run({package.at("/usr/bin/trackrod"), "--help"}).out)) {
    std::smatch match;
    if (listed && std::regex_search(line, match, std::regex{"^  ([a-z-]+) "})) names.push_back(match[1]);
    listed = listed || line == "Subcommands:";
  }
  return names;
}
// The long options that the help of a command lists.
std::vector<std::string> options(const Package& package, const std::string& command) {
  std::vector<std::string> names;
  const std::regex option{"^  (?:-[a-z],)?(--[a-z-]+)"};
  for (const auto& line : lines_of(package.run({package.at("/usr/bin/trackrod"), command, "--help"}).out)) {
    std::smatch match;
    if (std::regex_search(line, match, option)) names.push_back(match[1]);
  }
  return names;
}

// What bash offers when the last of these words is completed.
std::vector<std::string> completed(const Package& package, const std::vector<std::string>& words) {
  std::string line = "trackrod";
  for (const auto& word : words) line += " '" + word + "'";
  const auto ran =
      package.bash("set -u; source '" + package.at("/usr/share/bash-completion/completions/trackrod") +
                   "'; COMP_WORDS=(" + line + "); COMP_CWORD=" + std::to_string(words.size()) +
                   "; complete -p trackrod >/dev/null && { _trackrod; printf '%s\\n' \"${COMPREPLY[@]}\"; }");
  INFO(ran.err);
  CHECK(ran.err.empty());
  return lines_of(ran.out);
}

bool holds(const std::vector<std::string>& all, const std::string& one) {
  return std::find(all.begin(), all.end(), one) != all.end();
}

}  // namespace

TEST_CASE("the package holds program, unit, rules, schemas, plans, manual and completion, and starts nothing") {
  const auto& package = Package::get();
  const auto list = package.run({"dpkg-deb", "-c", package.deb()}).out;
  for (const auto* path :
       {"/usr/bin/trackrod", "/usr/lib/systemd/system/trackrod-run@.service", "/usr/lib/udev/rules.d/60-trackrod.rules",
        "/usr/lib/sysusers.d/trackrod.conf", "/usr/lib/tmpfiles.d/trackrod.conf",
        "/usr/share/trackrod/docs/schema/bench.schema.json", "/usr/share/trackrod/plans/response.json",
        "/usr/share/trackrod/fixtures/demo_bench/bench.json", "/usr/share/man/man1/trackrod-run.1.gz",
        "/usr/share/bash-completion/completions/trackrod", "/usr/share/doc/trackrod/docs/safety.md",
        "/usr/share/doc/trackrod/copyright"})
    CHECK(has(list, std::string{" ."} + path + "\n"));
  const auto control = package.run({"dpkg-deb", "-I", package.deb()}).out;
  CHECK(has(control, "libhdf5"));
  CHECK(has(control, "libsystemd0"));
  CHECK(has(package.run({package.at("/usr/bin/trackrod"), "--version"}).out, "trackrod "));
  for (const auto* script : {"postinst", "postrm"}) {
    const auto text = package.run({"dpkg-deb", "-I", package.deb(), script}).out;
    CHECK(has(text, "daemon-reload"));
    CHECK_FALSE(std::regex_search(text, std::regex{"systemctl +(re)?(start|enable|restart)|deb-systemd|trackrod-run"}));
  }
}

TEST_CASE("a plan of the package is rehearsed from where it is installed, and its schemas are the program's own") {
  const auto& package = Package::get();
  const auto share = package.at("/usr/share/trackrod");
  const auto ran = package.run({package.at("/usr/bin/trackrod"), "rehearse", share + "/plans/response.json", "--bench",
                                share + "/fixtures/demo_bench/bench.json", "--runs", package.file("runs")});
  INFO(ran.err);
  CHECK(ran.status == 0);
  CHECK(has(ran.out, "report: "));
  for (const auto* kind : {"bench", "plan", "truth", "import", "spans", "sign-off"})
    CHECK(package.run({package.at("/usr/bin/trackrod"), "schema", kind}).out ==
          slurp(share + "/docs/schema/" + kind + ".schema.json"));
  // Each file finds the schema that it names.
  for (const auto* folder : {"/plans", "/fixtures/demo_bench"})
    for (const auto& entry : std::filesystem::directory_iterator{share + folder}) {
      std::smatch match;
      const auto text = slurp(entry.path().string());
      INFO(entry.path());
      if (std::regex_search(text, match, std::regex{"\"\\$schema\": \"([^\"]+)\""}))
        CHECK(std::filesystem::exists(entry.path().parent_path() / match[1].str()));
    }
}

TEST_CASE(
    "there is a manual page for each command, with all of its options and the cautions, and groff reads it silently") {
  const auto& package = Package::get();
  auto names = commands(package);
  REQUIRE(names.size() > 10);
  for (auto& name : names) {
    const auto page = package.at("/usr/share/man/man1/trackrod-" + name + ".1.gz");
    const auto judged = package.bash("zcat '" + page + "' | groff -man -Tutf8 -ww -z");
    INFO(name);
    CHECK(judged.status == 0);
    CHECK(judged.out + judged.err == "");
    const auto text = package.bash("zcat '" + page + "' | groff -man -Tascii -P-cbou -rLL=500n").out;
    for (const auto& option : options(package, name)) {
      INFO(option);
      CHECK(has(text, "       " + option));
    }
    CHECK(has(text, "emergency stop"));
    CHECK(has(text, "/usr/share/doc/trackrod"));
  }
  const auto whole = package.bash("MANPATH='" + package.at("/usr/share/man") +
                                  "' LC_ALL=C.UTF-8 MANWIDTH=500 man --warnings trackrod");
  CHECK(whole.status == 0);
  CHECK(whole.err == "");
  for (const auto& name : names) CHECK(has(whole.out, "trackrod-" + name + "(1)"));
}

TEST_CASE("bash completes commands, the options of each, listed values, and files") {
  const auto& package = Package::get();
  const auto names = commands(package);
  CHECK(completed(package, {"reh"}) == std::vector<std::string>{"rehearse"});
  const auto all = completed(package, {""});
  for (const auto& name : names) {
    CHECK(holds(all, name));
    const auto offered = completed(package, {name, "-"});
    for (const auto& option : options(package, name)) {
      INFO(name + " " + option);
      CHECK(holds(offered, option));
    }
  }
  CHECK_FALSE(holds(all, "loop"));  // not for people
  CHECK(completed(package, {"run", "--confirmed-by", "x", "--conf"}) == std::vector<std::string>{"--confirmed-by"});
  CHECK(completed(package, {"schema", "p"}) == std::vector<std::string>{"plan"});
  const auto plans = package.at("/usr/share/trackrod/plans");
  CHECK(completed(package, {"run", plans + "/resp"}) == std::vector<std::string>{plans + "/response.json"});
  const auto bench = package.at("/usr/share/trackrod/fixtures/demo_bench/bench-udp");
  CHECK(completed(package, {"run", "--bench", bench}) == std::vector<std::string>{bench + ".json"});
  CHECK(completed(package, {"run", "--bench", "=", bench}) ==
        std::vector<std::string>{bench + ".json"});                                                // as bash splits it
  CHECK(completed(package, {"run", "--after", plans + "/resp"}) == std::vector<std::string>{""});  // no folder
  CHECK(completed(package, {"run", "--confirmed-by", ""}) == std::vector<std::string>{""});        // no guess at a name
}

TEST_CASE("systemd finds nothing to say against the unit, and little that it is open to") {
  const auto& package = Package::get();
  auto unit = slurp(package.at("/usr/lib/systemd/system/trackrod-run@.service"));
  const std::string program = "ExecStart=/usr/bin/trackrod ";
  REQUIRE(has(unit, program));
  unit.replace(unit.find(program), program.size(), "ExecStart=" + package.at("/usr/bin/trackrod") + " ");
  const auto copy = package.file("trackrod-run@.service");
  std::ofstream{copy} << unit;
  // Its manual pages are looked up too.
  const auto verified =
      package.bash("MANPATH='" + package.at("/usr/share/man") + "' systemd-analyze verify '" + copy + "'");
  CHECK(verified.status == 0);
  CHECK(verified.out + verified.err == "");
  const auto rated = package.run({"systemd-analyze", "security", "--offline=true", "--no-pager", copy});
  std::smatch match;
  const auto words = rated.out + rated.err;
  REQUIRE(std::regex_search(words, match, std::regex{"exposure level for [^:]*: ([0-9.]+)"}));
  CHECK(std::stod(match[1]) <= most_exposure);
}

TEST_CASE("the unit moves nothing by itself, and kills nobody but the keeper") {
  const auto unit = lines_of(slurp(Package::get().at("/usr/lib/systemd/system/trackrod-run@.service")));
  for (const auto* line : {"Type=notify", "Restart=no", "KillMode=process", "WatchdogSignal=SIGKILL", "LimitRTPRIO=49",
                           "LimitMEMLOCK=infinity", "CapabilityBoundingSet="})
    CHECK(holds(unit, line));
  for (const auto* line : {"[Install]", "RestrictRealtime=yes", "PrivateDevices=yes", "PrivateNetwork=yes"})
    CHECK_FALSE(holds(unit, line));
}

TEST_CASE("the rules for devices read as udev(7) has it") {
  const auto& package = Package::get();
  const auto rules = package.at("/usr/lib/udev/rules.d/60-trackrod.rules");
  const std::string pair =
      "(ACTION|KERNEL|SUBSYSTEM|DRIVER|ATTR\\{[a-z_]+\\}|GROUP|MODE|ENV\\{[A-Z_]+\\}|GOTO|LABEL)(==|!=|=|\\+=)\"[^\"]*"
      "\"";
  const std::regex rule{pair + "(, " + pair + ")*"};
  std::size_t read = 0;
  for (const auto& line : lines_of(slurp(rules))) {
    if (line.empty() || line.front() == '#') continue;
    INFO(line);
    CHECK(std::regex_match(line, rule));
    ++read;
  }
  CHECK(read >= 4);
  if (package.run({"udevadm", "verify", "--version"}).status == 0)  // not in Debian 12
    CHECK(package.run({"udevadm", "verify", "--resolve-names=never", rules}).status == 0);
}
