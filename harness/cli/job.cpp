#include "harness/cli/job.hpp"

#include <sys/mman.h>
#include <unistd.h>

#include <cerrno>
#include <nlohmann/json.hpp>

namespace trackrod {

using Json = nlohmann::json;

Result<int> write_job(const Loaded& loaded) {
  const auto text =
      Json{{"bench", loaded.bench_sources}, {"plan", loaded.plan_sources},  {"set", loaded.set},
           {"from", loaded.from},           {"passes", loaded.made.passes}, {"spent_ns", loaded.made.spent.count()}}
          .dump();
  const int fd = memfd_create("trackrod-job", MFD_CLOEXEC);
  if (fd < 0) return fail_os(Fault::internal, "no memory file for the loop's job", errno);
  for (std::size_t done = 0; done < text.size();) {
    const auto n = write(fd, text.data() + done, text.size() - done);
    if (n <= 0) {
      const int error = errno;
      close(fd);
      return fail_os(Fault::internal, "the loop's job cannot be written", error);
    }
    done += static_cast<std::size_t>(n);
  }
  return fd;
}

Result<Loaded> read_job(int descriptor) {
  std::string text;
  char piece[65536];
  ssize_t n = 0;
  while ((n = pread(descriptor, piece, sizeof piece, static_cast<off_t>(text.size()))) > 0)
    text.append(piece, static_cast<std::size_t>(n));
  Loaded loaded;
  try {
    const auto j = Json::parse(text);
    loaded.bench_sources = j.at("bench").get<Sources>();
    loaded.plan_sources = j.at("plan").get<Sources>();
    loaded.set = j.at("set").get<Assignments>();
    loaded.from = j.at("from").get<std::string>();
    loaded.made = {j.at("passes").get<std::uint64_t>(), Duration{j.at("spent_ns").get<Duration::rep>()}};
  } catch (const Json::exception& e) {
    return fail(Fault::internal, std::string{"the loop's job does not read: "} + e.what());
  }
  Problems problems;
  parse_sources(loaded, problems);
  if (!loaded.timeline) return fail(Fault::internal, "the loop's job has problems that the keeper did not see");
  return loaded;
}

}  // namespace trackrod
