// The files that a bench is made of.

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {
namespace {

namespace fs = std::filesystem;

// The file that `named` names, relative to the bench file. Each file counts once.
Result<void> add(const Node& named, const std::string& bench, Sources& sources) {
  if (named.kind != Node::Kind::text || named.text.empty()) return {};  // parse_bench tells
  const auto beside = (fs::path{bench}.parent_path() / named.text).lexically_normal().string();
  auto text = read_text(beside);
  if (!text)
    return tl::unexpected<Error>{
        std::move(text.error())
            .within(Problem{named.at, "found " + named.shown(), "a file beside the bench file", ""}.sentence())};
  for (const auto& known : sources)
    if (fs::path{known.first}.lexically_normal() == beside)
      return fail(Fault::bad_input,
                  Problem{named.at, "found " + named.shown() + " a second time", "each file once", ""}.sentence());
  sources.emplace_back(beside, std::move(*text));
  return {};
}

}  // namespace

Result<Sources> load_bench_sources(const std::string& path) {
  auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  Sources sources{{path, std::move(*text)}};

  Problems later;  // parse_bench says what is wrong with the file itself
  const auto root = parse_json(sources.front().second, path, later);
  if (!root) return sources;
  if (const auto* like = root->find("like"))
    if (auto added = add(*like, path, sources); !added) return tl::unexpected<Error>{std::move(added.error())};
  if (const auto* include = root->find("include"))
    for (const auto& n : include->items)
      if (auto added = add(n, path, sources); !added) return tl::unexpected<Error>{std::move(added.error())};
  return sources;
}

}  // namespace trackrod
