#pragma once
// A measured skew as an entry of a bench file's list. Pure.

#include <string>

#include "harness/base/error.hpp"

namespace trackrod {

// Keys as in docs/bench-file.md, `skews`.
struct SkewEntry {
  std::string signal, against;
  std::string value, u;  // "1.7 ms"
  std::string date;      // ISO 8601
  std::string used;
};

// The text of `file` with the entry in front of its list of skews; all else stays as it is, comments too. Error kind
// bad_input: no JSON, or no such list.
Result<std::string> with_skew(const std::string& text, const std::string& file, const SkewEntry& entry);

}  // namespace trackrod
