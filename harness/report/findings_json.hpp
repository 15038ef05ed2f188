#pragma once
// findings.json: what other programs read. docs/findings.md describes the keys. Pure: same findings, same bytes.

#include <string>
#include <vector>

#include "harness/base/error.hpp"
#include "harness/score/score.hpp"

namespace trackrod {

// An object with the key "findings". What does not exist, or is not finite, is null; a null value always has a reason.
// Ends with a line feed.
std::string write_findings(const std::vector<Finding>& findings);

// The reverse. Unknown keys are ignored, missing ones are an error. Error kind bad_input; the sentence tells line and
// column.
Result<std::vector<Finding>> read_findings(const std::string& text, const std::string& file = "findings.json");

// "at_most", "at_least", "within", and the reverse; empty for what is none of them.
std::string limit_kind_name(Limit::Kind kind);
std::optional<Limit::Kind> limit_kind_named(const std::string& name);
// The reverse of verdict_name.
std::optional<Verdict> verdict_named(const std::string& name);

}  // namespace trackrod
