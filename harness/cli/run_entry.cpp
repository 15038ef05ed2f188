#include "harness/cli/run_entry.hpp"

#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "harness/base/node.hpp"
#include "harness/base/text_file.hpp"
#include "harness/cli/ledger_finding.hpp"
#include "harness/report/findings_json.hpp"

namespace trackrod {
namespace {

namespace fs = std::filesystem;

// "2026-11-25T14:03:12+01:00" as seconds since 1970; 0 for what is no such time.
std::int64_t wall_seconds(const std::string& iso) {
  int year = 0, month = 0, day = 0, hour = 0, minute = 0, second = 0, off_hour = 0, off_minute = 0;
  char sign = '+';
  if (std::sscanf(iso.c_str(), "%4d-%2d-%2dT%2d:%2d:%2d%c%2d:%2d", &year, &month, &day, &hour, &minute, &second, &sign,
                  &off_hour, &off_minute) != 9)
    return 0;
  namespace chrono = std::chrono;
  const chrono::sys_days date{chrono::year{year} / month / day};
  const auto offset = chrono::hours{off_hour} + chrono::minutes{off_minute};
  const auto local = date + chrono::hours{hour} + chrono::minutes{minute} + chrono::seconds{second};
  return (local - (sign == '-' ? -offset : offset)).time_since_epoch().count();
}

// A bench, plan or description as it was copied: what stands in it by name, without a check, for it may be older than
// this program.
std::unique_ptr<Node> peeked(const RunFolder& folder, const SourceCopy& copy) {
  const auto text = read_text(folder.file(copy.file));
  Problems ignored;
  return text ? parse_json(*text, copy.file, ignored) : nullptr;
}

std::string text_of(const Node* object, const char* key) {
  const auto* value = object != nullptr ? object->find(key) : nullptr;
  return value != nullptr && value->kind == Node::Kind::text ? value->text : "";
}

// One hash for a file and those that it includes.
std::string joint_hash(const std::vector<SourceCopy>& copies) {
  if (copies.size() == 1) return copies.front().sha256;
  std::string all;
  for (const auto& copy : copies) all += copy.sha256;
  return all.empty() ? "" : sha256(all);
}

// Of a bench that is like another one, what it says itself comes first.
void note_bench(const RunFolder& folder, const std::vector<SourceCopy>& copies, const char* name_key, RunEntry& entry,
                std::string& unit_device) {
  entry.bench_hash = joint_hash(copies);
  bool unit_found = false;
  for (const auto& copy : copies) {
    const auto root = peeked(folder, copy);
    if (root == nullptr || root->kind != Node::Kind::object) continue;
    if (entry.bench.empty()) entry.bench = text_of(root.get(), name_key);
    const auto* unit = root->find("unit");
    if (unit_found || unit == nullptr || unit->kind != Node::Kind::object) continue;
    unit_found = true;
    entry.unit_name = text_of(unit, "name");
    entry.unit = text_of(unit, "serial");
    unit_device = text_of(unit, "device");
  }
}

std::string plan_name(const RunFolder& folder, const SourceCopy& copy) {
  const auto root = peeked(folder, copy);
  return root != nullptr && root->kind == Node::Kind::object ? text_of(root.get(), "plan") : "";
}

void note_identities(const RunRecord& record, const std::string& unit_device, RunEntry& entry) {
  for (const auto& [device, said] : record.identities) {
    entry.identities.push_back({device, said});
    if (device != unit_device) continue;
    for (const auto& [begin, member] : {std::pair{std::string{"part_number: "}, &RunEntry::part_number},
                                        std::pair{std::string{"software: "}, &RunEntry::software}})
      if (said.starts_with(begin)) entry.*member = said.substr(begin.size());
  }
}

// The findings in a part of the folder ("" or "scores/002/"), if there are any.
Result<void> note_scoring(const RunFolder& folder, const std::string& part, int number, RunEntry& entry) {
  const auto path = folder.file(part + "findings.json");
  if (!fs::exists(path)) return {};
  const auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  const auto findings = read_findings(*text, path);
  if (!findings) return tl::unexpected<Error>{findings.error()};
  LedgerScoring scoring{number, entry.plan, entry.plan_hash, {}};
  if (const auto plan = folder.file(part + "plan.json"); !part.empty() && fs::exists(plan)) {
    const auto own = read_text(plan);
    scoring.plan = plan_name(folder, {plan, part + "plan.json", ""});
    scoring.plan_hash = own ? sha256(*own) : "";
  }
  for (const auto& finding : *findings) scoring.findings.push_back(to_ledger(finding));
  entry.scorings.push_back(std::move(scoring));
  return {};
}

Result<void> note_scorings(const RunFolder& folder, RunEntry& entry) {
  if (auto noted = note_scoring(folder, "", 1, entry); !noted) return noted;
  std::vector<std::string> parts;
  std::error_code none;
  for (fs::directory_iterator it{folder.file("scores"), none}, end; !none && it != end; it.increment(none))
    parts.push_back(it->path().filename().string());
  std::sort(parts.begin(), parts.end());
  for (const auto& part : parts)
    if (int number = 0; std::sscanf(part.c_str(), "%d", &number) == 1 && number > 1)
      if (auto noted = note_scoring(folder, "scores/" + part + "/", number, entry); !noted) return noted;
  return {};
}

// The segments of the journal, of which a night has many, count as one.
void note_files(const RunFolder& folder, const RunRecord& record, RunEntry& entry) {
  std::int64_t journal = 0;
  std::error_code none;
  for (fs::recursive_directory_iterator it{folder.path(), none}, end; !none && it != end; it.increment(none)) {
    if (std::error_code odd; !it->is_regular_file(odd)) continue;
    std::error_code gone;
    const auto bytes = static_cast<std::int64_t>(it->file_size(gone));
    const auto name = it->path().lexically_relative(folder.path()).string();
    if (gone || name.ends_with(".part")) continue;
    if (name.starts_with("journal/"))
      journal += bytes;
    else
      entry.files.push_back({name, bytes, ""});
  }
  if (journal > 0) entry.files.push_back({"journal", journal, ""});
  std::sort(entry.files.begin(), entry.files.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
  for (const auto* copies : {&record.bench, &record.plan})
    for (const auto& copy : *copies)
      for (auto& file : entry.files)
        if (file.name == copy.file) file.sha256 = copy.sha256;
}

}  // namespace

Result<RunEntry> run_entry(const RunFolder& folder) {
  const auto record = folder.record();
  if (!record) return tl::unexpected<Error>{Error{record.error()}.within("'" + folder.path() + "'")};
  RunEntry entry;
  entry.folder = fs::path{folder.path()}.filename().string();
  entry.run = record->id;
  entry.started = record->started;
  entry.ended = record->ended;
  const auto& label = record->started.empty() && record->imported ? record->imported->when : record->started;
  entry.at = wall_seconds(label);
  entry.day = label.substr(0, std::string{"2026-11-25"}.size());
  entry.duration_s = record->duration_s;
  entry.program = record->program;
  for (const auto& [what, words] : record->host)
    if (what == "build") entry.build = words;
  std::string unit_device;
  if (record->imported)
    note_bench(folder, record->imported->description, "import", entry, unit_device);
  else
    note_bench(folder, record->bench, "bench", entry, unit_device);
  if (!record->plan.empty()) entry.plan = plan_name(folder, record->plan.front());
  entry.plan_hash = joint_hash(record->plan);
  note_identities(*record, unit_device, entry);
  entry.rehearsal = record->rehearsal;
  entry.imported = record->imported.has_value();
  entry.unattended = record->unattended;
  entry.as_planned = record->as_planned;
  entry.tripped = record->tripped;
  entry.refused = record->refused;
  entry.ending = record->ending;
  entry.after = record->after;
  entry.invalid = record->invalid;
  if (fs::exists(folder.file("seal.json"))) {
    const auto seal = read_text(folder.file("seal.json"));
    if (!seal) return tl::unexpected<Error>{seal.error()};
    entry.seal = sha256(*seal);
  }
  if (auto noted = note_scorings(folder, entry); !noted) return tl::unexpected<Error>{noted.error()};
  note_files(folder, *record, entry);
  return entry;
}

}  // namespace trackrod
