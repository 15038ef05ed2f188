#include "harness/cli/truth_file.hpp"

#include <filesystem>

#include "harness/base/text_file.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

std::optional<Truth> load_truth(const std::string& path, const std::string& bench, const std::vector<std::string>& set,
                                const Console& console) {
  const auto file = path.empty() ? (std::filesystem::path{bench}.parent_path() / "truth.json").string() : path;
  auto assignments = parse_assignments(set);
  if (!assignments) return console.complain(assignments.error()), std::nullopt;
  auto text = read_text(file);
  if (!text) return console.complain(std::move(text.error()).within("the truth of the simulated bench")), std::nullopt;
  Problems problems;
  auto truth = parse_truth(*text, file, *assignments, problems);
  if (!problems.none() || !truth) return console.complain(problems), std::nullopt;
  return *truth;
}

}  // namespace trackrod
