// The files that a bench is made of.

#include <cerrno>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "harness/bench/bench.hpp"

namespace trackrod {
namespace {

Result<std::string> read_file(const std::string& path) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored))
    return fail(Fault::bad_input, "'" + path + "' is a folder, not a file");
  errno = 0;
  std::ifstream in{path, std::ios::binary};
  if (!in) return fail_os(errno == ENOENT ? Fault::bad_input : Fault::storage, "cannot read '" + path + "'", errno);
  std::string text{std::istreambuf_iterator<char>{in}, {}};
  if (in.bad()) return fail_os(Fault::storage, "cannot read '" + path + "'", errno);
  return text;
}

}  // namespace

Result<Sources> load_bench_sources(const std::string& path) {
  auto text = read_file(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  Sources sources{{path, std::move(*text)}};

  Problems later;  // parse_bench says what is wrong with the file itself
  const auto root = parse_json(sources.front().second, path, later);
  const auto* include = root ? root->find("include") : nullptr;
  if (include == nullptr) return sources;
  for (const auto& n : include->items) {
    if (n.kind != Node::Kind::text || n.text.empty()) continue;
    const auto beside = (std::filesystem::path{path}.parent_path() / n.text).lexically_normal().string();
    auto part = read_file(beside);
    if (!part)
      return tl::unexpected<Error>{
          std::move(part.error())
              .within(Problem{n.at, "found " + n.shown(), "a file beside the bench file", ""}.sentence())};
    for (const auto& known : sources)
      if (std::filesystem::path{known.first}.lexically_normal() == beside)
        return fail(Fault::bad_input,
                    Problem{n.at, "found " + n.shown() + " a second time", "each file once", ""}.sentence());
    sources.emplace_back(beside, std::move(*part));
  }
  return sources;
}

}  // namespace trackrod
