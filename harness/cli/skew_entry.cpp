#include "harness/cli/skew_entry.hpp"

#include <nlohmann/json.hpp>

#include "harness/base/node.hpp"

namespace trackrod {
namespace {

std::string written(const SkewEntry& entry) {
  const auto quoted = [](const std::string& text) { return nlohmann::json(text).dump(); };
  return "{\"signal\": " + quoted(entry.signal) + ", \"against\": " + quoted(entry.against) +
         ", \"value\": " + quoted(entry.value) + ", \"u\": " + quoted(entry.u) + ", \"date\": " + quoted(entry.date) +
         ", \"used\": " + quoted(entry.used) + "}";
}

// Where the character at this line and column begins; columns count characters, not bytes.
std::size_t byte_of(const std::string& text, const Where& where) {
  std::size_t at = text.compare(0, 3, "\xEF\xBB\xBF") == 0 ? 3 : 0;  // a byte order mark is no character
  for (int line = 1; line < where.line; ++line) at = text.find('\n', at) + 1;
  const auto continues = [&] { return (static_cast<unsigned char>(text[at]) & 0xC0U) == 0x80U; };
  for (int column = 1; column < where.column; ++column) {
    ++at;
    while (continues()) ++at;
  }
  return at;
}

}  // namespace

Result<std::string> with_skew(const std::string& text, const std::string& file, const SkewEntry& entry) {
  Problems problems;
  const auto root = parse_json(text, file, problems);
  if (!root || !problems.none()) return fail(Fault::bad_input, problems.sorted().front().sentence());
  const auto* list = root->find("skews");
  if (list == nullptr || list->kind != Node::Kind::list)
    return fail(Fault::bad_input,
                "'" + file + "': found no list \"skews\"; add \"skews\": [] where the entry is to go");
  std::string indent(4, ' '), behind = "\n  ";
  if (!list->items.empty()) {
    const auto& first = list->items.front().at;
    const bool own_line = first.line != list->at.line;
    if (own_line) indent = std::string(static_cast<std::size_t>(first.column - 1), ' ');
    behind = own_line ? "," : ",\n" + indent;
  }
  auto out = text;
  out.insert(byte_of(text, list->at) + 1, "\n" + indent + written(entry) + behind);
  return out;
}

}  // namespace trackrod
