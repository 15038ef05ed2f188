#include "harness/cli/cycles_file.hpp"

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "harness/base/text_file.hpp"

namespace trackrod {
namespace {

using Json = nlohmann::ordered_json;

std::int64_t ns(BenchTime t) { return t.time_since_epoch().count(); }

Json to_json(const PassRow& row) {
  Json signals = Json::object();
  for (const auto& s : row.signals)
    signals[s.name] = {{"mean", s.mean}, {"least", s.least}, {"greatest", s.greatest}, {"samples", s.samples}};
  return {{"pass", row.pass},         {"from_ns", ns(row.from)}, {"to_ns", ns(row.to)},
          {"complete", row.complete}, {"whole", row.whole},      {"signals", signals}};
}

Json to_json(const ValueRow& row) {
  const auto& v = row.value;
  Json j{{"criterion", row.criterion}, {"cycle", v.cycle}};
  j["value"] = v.value ? Json(*v.value) : Json(nullptr);
  j["unit"] = v.unit;
  if (v.covariate) j["covariate"] = *v.covariate;
  if (!v.value) j["reason"] = v.why;
  return j;
}

CycleValue value_of(const Json& j) {
  CycleValue v;
  v.cycle = j.at("cycle").get<std::uint32_t>();
  if (!j.at("value").is_null()) v.value = j.at("value").get<double>();
  v.unit = j.at("unit").get<std::string>();
  if (j.contains("covariate")) v.covariate = j.at("covariate").get<double>();
  if (j.contains("reason")) v.why = j.at("reason").get<std::string>();
  return v;
}

// Only what a follower goes on from.
PassRow pass_of(const Json& j) {
  PassRow row;
  row.pass = j.at("pass").get<std::uint32_t>();
  row.from = BenchTime{Duration{j.at("from_ns").get<std::int64_t>()}};
  row.to = BenchTime{Duration{j.at("to_ns").get<std::int64_t>()}};
  row.complete = j.at("complete").get<bool>();
  row.whole = j.at("whole").get<bool>();
  return row;
}

// Calls take(Json) for each whole line. The bytes that whole lines take.
template <class Take>
Result<std::size_t> each_line(const std::string& path, const std::string& text, Take take) {
  std::size_t from = 0;
  for (std::size_t number = 1;; ++number) {
    const auto end = text.find('\n', from);
    if (end == std::string::npos) return from;
    try {
      take(Json::parse(text.begin() + static_cast<std::ptrdiff_t>(from),
                       text.begin() + static_cast<std::ptrdiff_t>(end)));
    } catch (const Json::exception& e) {
      return fail(Fault::storage, "'" + path + "', line " + std::to_string(number) + ", does not read: " + e.what() +
                                      "; move the file away, and cycles whose samples are there are worked out anew");
    }
    from = end + 1;
  }
}

Result<std::string> text_of(const std::string& path) {
  std::error_code error;
  if (!std::filesystem::exists(path, error)) return std::string{};
  return read_text(path);
}

void add_value(const Json& j, CycleBook& book) {
  const auto criterion = j.at("criterion").get<std::size_t>();
  if (criterion < book.size()) book[criterion].push_back(value_of(j));
}

}  // namespace

Result<CycleBook> read_cycle_book(const std::string& path, std::size_t criteria) {
  const auto text = text_of(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  CycleBook book(criteria);
  const auto read = each_line(path, *text, [&](const Json& j) {
    if (j.contains("criterion")) add_value(j, book);
  });
  if (!read) return tl::unexpected<Error>{read.error()};
  return book;
}

Result<CyclesFile> CyclesFile::open(const std::string& path, std::size_t criteria) {
  const auto text = text_of(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  CyclesFile out;
  out.path_ = path;
  out.book_.resize(criteria);
  const auto whole = each_line(path, *text, [&](const Json& j) {
    if (j.contains("criterion"))
      add_value(j, out.book_);
    else
      out.take(pass_of(j));
  });
  if (!whole) return tl::unexpected<Error>{whole.error()};
  out.file_ = FileDescriptor{::open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644)};
  if (!out.file_.valid() || ftruncate(out.file_.get(), static_cast<off_t>(*whole)) != 0)
    return fail_os(Fault::storage, "'" + path + "' cannot be written", errno);
  return out;
}

void CyclesFile::take(const PassRow& row) {
  last_pass_ = row.pass;
  if (!row.whole) return;
  last_whole_ = row.from;
  whole_.insert(row.pass);
}

void CyclesFile::add(const PassRow& row) {
  take(row);
  waiting_ += to_json(row).dump() + "\n";
}

void CyclesFile::add(const ValueRow& row) {
  book_[row.criterion].push_back(row.value);
  waiting_ += to_json(row).dump() + "\n";
}

Result<void> CyclesFile::sync() {
  auto written = write_all(file_.get(), waiting_, path_);
  waiting_.clear();
  if (written && fdatasync(file_.get()) != 0)
    return fail_os(Fault::storage, "'" + path_ + "' did not reach the disk", errno);
  return written;
}

}  // namespace trackrod
