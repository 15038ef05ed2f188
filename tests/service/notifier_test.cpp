// The notification command: what it is given, what it does not get, and what becomes of one that fails or hangs.

#include "harness/service/notifier.hpp"

#include <sys/stat.h>
#include <unistd.h>

#include <csignal>
#include <filesystem>
#include <fstream>
#include <mutex>
#include <sstream>
#include <vector>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

struct Folder {
  std::string path;
  std::mutex mutex;
  std::vector<std::string> troubles;

  Folder() {
    char name[] = "/tmp/trackrod-test-XXXXXX";
    REQUIRE(mkdtemp(name) != nullptr);
    path = name;
  }
  ~Folder() { std::filesystem::remove_all(path); }
  std::string file(const std::string& name) const { return path + "/" + name; }
  std::string script(const std::string& body) const {
    std::ofstream{file("tell")} << "#!/bin/sh\n" << body;
    std::filesystem::permissions(file("tell"), std::filesystem::perms::owner_all);
    return file("tell");
  }
  std::string read(const std::string& name) const {
    std::ifstream in{file(name)};
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
  }
  // Tells of these and waits until all is over.
  void tell(const std::string& program, const std::vector<Notice>& notices, Duration limit = 20s) {
    Notifier notifier{program,
                      [this](const std::string& trouble) {
                        const std::lock_guard lock{mutex};
                        troubles.push_back(trouble);
                      },
                      limit};
    for (const auto& notice : notices) notifier.notify(notice);
  }
};

const Notice full_disk{Notice::Kind::low_disk, "/runs/night", "2 GB are left; $(reboot) `x` \"y\"", ""};

}  // namespace

TEST_CASE("the command gets kind, run, sentence and verdicts as they are, without a shell between") {
  Folder folder;
  const auto program = folder.script("printf '%s|' \"$#\" \"$@\" > '" + folder.file("told") + "'\n");
  folder.tell(program, {full_disk});
  CHECK(folder.read("told") == "4|low_disk|/runs/night|2 GB are left; $(reboot) `x` \"y\"||");
  folder.tell(program, {{Notice::Kind::ended, "/runs/night", "the run ended: finished", "3 pass, 1 fail"}});
  CHECK(folder.read("told") == "4|ended|/runs/night|the run ended: finished|3 pass, 1 fail|");
  CHECK(folder.troubles.empty());
}

TEST_CASE("the command gets none of our descriptors, signals as new, and nothing that is meant for us alone") {
  Folder folder;
  const auto program = folder.script("ls -l /proc/$$/fd > '" + folder.file("fds") +
                                     "'\ngrep SigIgn /proc/$$/status > '" + folder.file("signals") + "'\nenv > '" +
                                     folder.file("env") + "'\nreadlink /proc/$$/fd/0 /proc/$$/fd/1 > '" +
                                     folder.file("std") + "'\ncat /proc/$$/stat > '" + folder.file("group") + "'\n");
  int open_one[2];
  REQUIRE(pipe(open_one) == 0);  // without a mark to close it
  setenv("NOTIFY_SOCKET", "/nowhere", 1);
  setenv("WATCHDOG_USEC", "1000", 1);
  const auto before = std::signal(SIGPIPE, SIG_IGN);
  folder.tell(program, {full_disk});
  std::signal(SIGPIPE, before);
  unsetenv("NOTIFY_SOCKET");
  unsetenv("WATCHDOG_USEC");
  struct stat at_home {};
  REQUIRE(fstat(open_one[0], &at_home) == 0);
  CHECK(folder.read("fds").find("/dev/null") != std::string::npos);
  CHECK(folder.read("fds").find("pipe:[" + std::to_string(at_home.st_ino) + "]") == std::string::npos);
  unsigned long ignored = 0;
  std::string word;
  std::istringstream{folder.read("signals")} >> word >> std::hex >> ignored;
  CHECK(word == "SigIgn:");
  CHECK((ignored & (1UL << (SIGPIPE - 1))) == 0);
  CHECK(folder.read("env").find("PATH=") != std::string::npos);
  CHECK(folder.read("env").find("NOTIFY_SOCKET") == std::string::npos);
  CHECK(folder.read("env").find("WATCHDOG") == std::string::npos);
  CHECK(folder.read("std").find("/dev/null\n") == 0);
  close(open_one[0]);
  close(open_one[1]);
  std::string name, state;
  int pid = 0, parent = 0, group = 0;
  std::istringstream{folder.read("group")} >> pid >> name >> state >> parent >> group;
  CHECK(pid != 0);
  CHECK(pid == group);
}

TEST_CASE("a command that hangs delays nobody, and is killed with all that it started") {
  Folder folder;
  const auto program = folder.script("sleep 1000 & echo $! > '" + folder.file("child") + "'\nwait\n");
  const SteadyTime time;
  const auto begun = time.now();
  Duration asked{};
  {
    Notifier notifier{program, [&](const std::string& t) { folder.troubles.push_back(t); }, 300ms};
    notifier.notify(full_disk);
    asked = time.now() - begun;
  }
  CHECK(asked < 200ms);
  REQUIRE(folder.troubles.size() == 1);
  CHECK(folder.troubles[0].find("'low_disk'") != std::string::npos);
  CHECK(folder.troubles[0].find("was killed") != std::string::npos);
  std::istringstream child{folder.read("child")};
  pid_t pid = 0;
  if (child >> pid) {  // unless it was killed before it wrote
    const auto status = [&] {
      std::ifstream in{"/proc/" + std::to_string(pid) + "/stat"};
      std::string number, name, state;
      in >> number >> name >> state;
      return state;
    };
    CHECK((status().empty() || status() == "Z"));
  }
}

TEST_CASE("one that hangs does not keep another one waiting") {
  Folder folder;
  const auto program =
      folder.script("[ \"$1\" = tripped ] && exec sleep 1000\necho \"$1\" >> '" + folder.file("told") + "'\n");
  folder.tell(program, {{Notice::Kind::tripped, "r", "s", ""}, {Notice::Kind::ended, "r", "s", ""}}, 2s);
  CHECK(folder.read("told") == "ended\n");
  CHECK(folder.troubles.size() == 1);
}

TEST_CASE("one that fails or cannot be run is told of") {
  Folder folder;
  folder.tell(folder.script("exit 7\n"), {full_disk});
  REQUIRE(folder.troubles.size() == 1);
  CHECK(folder.troubles[0].find("status 7") != std::string::npos);
  folder.tell(folder.script("kill -TERM $$\n"), {full_disk});
  CHECK(folder.troubles.at(1).find("Terminated") != std::string::npos);
  std::ofstream{folder.file("tell")} << "#!/no/such/interpreter\n";
  folder.tell(folder.file("tell"), {full_disk});
  CHECK(folder.troubles.at(2).find("could not be started") != std::string::npos);
}

TEST_CASE("what is no program is refused beforehand") {
  Folder folder;
  std::ofstream{folder.file("text")} << "no program";
  for (const auto& bad : {folder.file("missing"), folder.file("text"), folder.path}) {
    const auto checked = notify_program(bad);
    INFO(bad);
    REQUIRE_FALSE(checked);
    CHECK(checked.error().fault == Fault::bad_input);
    CHECK(checked.error().context.find(bad) != std::string::npos);
  }
  CHECK(notify_program("/bin/sh").value() == "/bin/sh");
  CHECK(notify_program("/bin/../bin/sh").has_value());
}

TEST_CASE("without a command nobody is told, and nothing goes wrong") {
  Folder folder;
  folder.tell("", {full_disk});
  CHECK(folder.troubles.empty());
}
