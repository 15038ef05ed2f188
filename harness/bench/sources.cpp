// The files that a bench is made of.

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/bench/bench.hpp"

namespace trackrod {

Result<Sources> load_bench_sources(const std::string& path) {
  auto text = read_text(path);
  if (!text) return tl::unexpected<Error>{text.error()};
  Sources sources{{path, std::move(*text)}};

  Problems later;  // parse_bench says what is wrong with the file itself
  const auto root = parse_json(sources.front().second, path, later);
  const auto* include = root ? root->find("include") : nullptr;
  if (include == nullptr) return sources;
  for (const auto& n : include->items) {
    if (n.kind != Node::Kind::text || n.text.empty()) continue;
    const auto beside = (std::filesystem::path{path}.parent_path() / n.text).lexically_normal().string();
    auto part = read_text(beside);
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
