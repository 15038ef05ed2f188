#include "harness/cli/run_folder.hpp"

#include <fcntl.h>
#include <sodium.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <ctime>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "harness/base/text_file.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

Json sources_json(const std::vector<SourceCopy>& sources) {
  Json list = Json::array();
  for (const auto& s : sources) list.push_back({{"path", s.path}, {"file", s.file}, {"sha256", s.sha256}});
  return list;
}

std::vector<SourceCopy> sources_from(const Json& list) {
  std::vector<SourceCopy> out;
  for (const auto& s : list) out.push_back({s.at("path"), s.at("file"), s.at("sha256")});
  return out;
}

Json pairs_json(const std::vector<std::pair<std::string, std::string>>& pairs) {
  Json object = Json::object();
  for (const auto& [key, value] : pairs) object[key] = value;
  return object;
}

std::vector<std::pair<std::string, std::string>> pairs_from(const Json& object) {
  std::vector<std::pair<std::string, std::string>> out;
  for (const auto& [key, value] : object.items()) out.emplace_back(key, value.get<std::string>());
  return out;
}

// Several lines a name: {"supply": ["maker: ...", "serial: ..."]}.
Json lines_json(const std::vector<std::pair<std::string, std::string>>& lines) {
  Json object = Json::object();
  for (const auto& [name, line] : lines) object[name].push_back(line);
  return object;
}

std::vector<std::pair<std::string, std::string>> lines_from(const Json& object) {
  std::vector<std::pair<std::string, std::string>> out;
  for (const auto& [name, lines] : object.items())
    for (const auto& line : lines) out.emplace_back(name, line.get<std::string>());
  return out;
}

std::string formatted(WallTime when, const char* format) {
  const std::time_t t = std::chrono::system_clock::to_time_t(when);
  std::tm local{};
  localtime_r(&t, &local);
  char text[64];
  std::strftime(text, sizeof text, format, &local);
  return text;
}

// A name that is safe in a path.
std::string plain(const std::string& name) {
  std::string out;
  for (const char c : name) out += std::isalnum(static_cast<unsigned char>(c)) != 0 ? c : '-';
  return out.empty() ? "x" : out;
}

std::string four_digits() {
  char text[5];
  std::snprintf(text, sizeof text, "%04x", randombytes_random() & 0xFFFFU);
  return text;
}

Json imported_json(const ImportedFrom& i) {
  return {{"file", i.file},
          {"bytes", i.bytes},
          {"sha256", i.sha256},
          {"when", i.when},
          {"description", sources_json(i.description)}};
}

ImportedFrom imported_from(const Json& j) {
  return {j.at("file"), j.at("bytes"), j.at("sha256"), j.at("when"), sources_from(j.at("description"))};
}

std::string run_name(WallTime now, const std::string& what, const std::string& serial) {
  return formatted(now, "%Y%m%d-%H%M%S") + "-" + plain(what) + "-" + plain(serial) + "-" + four_digits();
}

}  // namespace

std::string to_json(const RunRecord& r) {
  Json j{{"run", r.id},
         {"rehearsal", r.rehearsal},
         {"program", r.program},
         {"started", r.started.empty() ? Json(nullptr) : Json(r.started)},
         {"ended", r.ended.empty() ? Json(nullptr) : Json(r.ended)},
         {"after", r.after.empty() ? Json(nullptr) : Json(r.after)},
         {"from", r.from.empty() ? Json(nullptr) : Json(r.from)},
         {"made_before", {{"passes", r.made.passes}, {"spent_ns", r.made.spent.count()}}},
         {"confirmed_by", r.confirmed_by.empty() ? Json(nullptr) : Json(r.confirmed_by)},
         {"and_by", r.and_by.empty() ? Json(nullptr) : Json(r.and_by)},
         {"unattended", r.unattended},
         {"proofs", pairs_json(r.proofs)},
         {"ending", r.ending},
         {"as_planned", r.as_planned},
         {"tripped", r.tripped},
         {"refused", r.refused},
         {"safe_state_reached", r.safe_reached},
         {"duration_s", r.duration_s},
         {"bench", sources_json(r.bench)},
         {"plan", sources_json(r.plan)},
         {"set", pairs_json(r.set)},
         {"host", pairs_json(r.host)},
         {"identities", lines_json(r.identities)},
         {"fault_memory", {{"before", lines_json(r.faults_before)}, {"after", lines_json(r.faults_after)}}},
         {"invalid", r.invalid},
         {"notes", r.notes}};
  if (r.imported) {  // nothing was planned or brought to a safe state
    j["as_planned"] = j["safe_state_reached"] = nullptr;
    j["imported"] = imported_json(*r.imported);
  }
  return j.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

Result<RunRecord> run_record_from_json(const std::string& text) {
  try {
    const auto j = Json::parse(text);
    const auto text_of = [&](const char* key) {
      return j.at(key).is_null() ? std::string{} : j.at(key).get<std::string>();
    };
    RunRecord r;
    r.id = j.at("run");
    r.rehearsal = j.at("rehearsal");
    r.program = j.at("program");
    r.started = text_of("started");
    if (j.contains("imported")) r.imported = imported_from(j.at("imported"));
    r.ended = text_of("ended");
    r.confirmed_by = text_of("confirmed_by");
    if (j.contains("after")) r.after = text_of("after");  // not in older runs, as the next four
    if (j.contains("from")) r.from = text_of("from");
    if (j.contains("made_before"))
      r.made = {j.at("made_before").at("passes").get<std::uint64_t>(),
                Duration{j.at("made_before").at("spent_ns").get<Duration::rep>()}};
    if (j.contains("and_by")) r.and_by = text_of("and_by");
    r.unattended = j.value("unattended", false);
    if (j.contains("proofs")) r.proofs = pairs_from(j.at("proofs"));
    r.ending = j.at("ending");
    r.as_planned = r.imported || j.at("as_planned").get<bool>();
    r.tripped = j.at("tripped");
    r.refused = j.value("refused", false);  // not in older runs
    r.safe_reached = r.imported || j.at("safe_state_reached").get<bool>();
    r.duration_s = j.at("duration_s");
    r.bench = sources_from(j.at("bench"));
    r.plan = sources_from(j.at("plan"));
    r.set = pairs_from(j.at("set"));
    r.host = pairs_from(j.at("host"));
    r.identities = lines_from(j.value("identities", Json::object()));  // not in older runs
    const auto faults = j.value("fault_memory", Json::object());       // not in older runs, as what follows
    r.faults_before = lines_from(faults.value("before", Json::object()));
    r.faults_after = lines_from(faults.value("after", Json::object()));
    r.invalid = j.value("invalid", std::vector<std::string>{});
    r.notes = j.at("notes").get<std::vector<std::string>>();
    return r;
  } catch (const Json::exception& e) {
    return fail(Fault::bad_input, std::string{"run.json does not read: "} + e.what());
  }
}

Result<RunFolder> RunFolder::make(const std::string& path) {
  RunFolder folder{path};
  std::error_code os;
  const auto parent = std::filesystem::path{path}.parent_path();
  if (!parent.empty()) std::filesystem::create_directories(parent, os);
  // Private: captures may show what a unit cannot do yet.
  if (os || mkdir(path.c_str(), 0750) != 0)
    return fail_os(Fault::storage, "the run folder '" + path + "' cannot be made; choose another place with --runs",
                   os ? os.value() : errno);
  return folder;
}

Result<RunFolder> RunFolder::create(const std::string& runs, const Loaded& loaded, RunRecord& record) {
  if (sodium_init() < 0) return fail(Fault::internal, "the random source does not start");
  const auto now = std::chrono::system_clock::now();
  record.id = run_name(now, loaded.plan->name, loaded.bench->unit.serial);
  record.started = shown_wall_time(now);
  record.set = loaded.set;
  auto folder = make(runs + "/" + record.id);
  if (!folder) return folder;
  auto bench = folder->copy(loaded.bench_sources, "bench.json");
  if (!bench) return tl::unexpected<Error>{bench.error()};
  auto plan = folder->copy(loaded.plan_sources, "plan.json");
  if (!plan) return tl::unexpected<Error>{plan.error()};
  record.bench = *bench;
  record.plan = *plan;
  if (auto written = folder->write("run.json", to_json(record)); !written)
    return tl::unexpected<Error>{written.error()};
  return folder;
}

Result<RunFolder> RunFolder::create_for_import(const std::string& into, const std::string& runs,
                                               const std::string& name, const std::string& serial, RunRecord& record) {
  if (sodium_init() < 0) return fail(Fault::internal, "the random source does not start");
  record.id = run_name(std::chrono::system_clock::now(), name, serial.empty() ? "imported" : serial);
  if (into.empty()) return make(runs + "/" + record.id);
  if (std::filesystem::exists(into))
    return fail(Fault::bad_input, "--into '" + into + "' is there already; allowed: a folder that is yet to be made");
  return make(into);
}

Result<RunFolder> RunFolder::open(const std::string& path) {
  RunFolder folder{path};
  while (folder.path_.size() > 1 && folder.path_.back() == '/') folder.path_.pop_back();
  if (!std::filesystem::exists(folder.file("run.json")))
    return fail(Fault::bad_input,
                "'" + path + "' is no run folder: it holds no run.json; name the folder that `trackrod run` printed");
  return folder;
}

Result<void> RunFolder::write(const std::string& name, const std::string& text) const {
  return write_text(file(name), text);
}

Result<std::vector<SourceCopy>> RunFolder::copy(const Sources& sources, const std::string& name) const {
  std::vector<SourceCopy> copies;
  for (const auto& [path, text] : sources) {
    std::string as = name;
    if (!copies.empty()) {
      std::error_code ignored;
      std::filesystem::create_directory(file("included"), ignored);
      as = "included/" + std::to_string(copies.size()) + "-" + std::filesystem::path{path}.filename().string();
    }
    if (auto written = write(as, text); !written) return tl::unexpected<Error>{written.error()};
    copies.push_back({path, as, sha256(text)});
  }
  return copies;
}

Result<RunRecord> RunFolder::record() const {
  auto text = read_text(file("run.json"));
  if (!text) return tl::unexpected<Error>{text.error()};
  return run_record_from_json(*text);
}

Result<Loaded> RunFolder::sources(const RunRecord& record) const {
  Loaded loaded;
  loaded.set = record.set;
  loaded.from = record.from;
  loaded.made = record.made;
  for (const auto& [copies, into] :
       {std::pair{&record.bench, &loaded.bench_sources}, std::pair{&record.plan, &loaded.plan_sources}})
    for (const auto& copy : *copies) {
      auto text = read_text(file(copy.file));
      if (!text) return tl::unexpected<Error>{text.error()};
      into->emplace_back(copy.path, std::move(*text));
    }
  return loaded;
}

Result<void> write_text(const std::string& path, const std::string& text) {
  const auto part = path + ".part";
  const int fd = ::open(part.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
  if (fd < 0) return fail_os(Fault::storage, "'" + path + "' cannot be written", errno);
  std::size_t done = 0;
  ssize_t n = 0;
  while (done < text.size() && (n = ::write(fd, text.data() + done, text.size() - done)) > 0)
    done += static_cast<std::size_t>(n);
  const bool good = done == text.size() && fsync(fd) == 0;
  const int error = errno;
  close(fd);
  if (!good || rename(part.c_str(), path.c_str()) != 0) {
    const int why = good ? errno : error;
    unlink(part.c_str());
    return fail_os(Fault::storage, "'" + path + "' cannot be written", why);
  }
  return {};
}

std::string sha256(const std::string& bytes) {
  unsigned char hash[crypto_hash_sha256_BYTES];
  crypto_hash_sha256(hash, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
  char text[2 * sizeof hash + 1];
  sodium_bin2hex(text, sizeof text, hash, sizeof hash);
  return text;
}

std::string shown_wall_time(WallTime when) {
  auto text = formatted(when, "%Y-%m-%dT%H:%M:%S%z");
  return text.insert(text.size() - 2, ":");
}

}  // namespace trackrod
