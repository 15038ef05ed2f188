#include "harness/plan/common_keys.hpp"

namespace trackrod {
namespace {

bool holds(const std::vector<std::string>& keys, const std::string& key) {
  return std::find(keys.begin(), keys.end(), key) != keys.end();
}

}  // namespace

std::pair<Node, Node> split_keys(const Node& object, const std::vector<std::string>& keys) {
  Node with{object}, without{object};
  std::erase_if(with.members, [&](const Node::Member& m) { return !holds(keys, m.key); });
  std::erase_if(without.members, [&](const Node::Member& m) { return holds(keys, m.key); });
  return {std::move(with), std::move(without)};
}

bool drop_unknown_keys(Node& own, const std::vector<std::string>& common, const std::string& kind_key,
                       const std::vector<KindEntry>& family, Problems& problems) {
  const auto* told = own.find(kind_key);
  const auto kind = std::find_if(family.begin(), family.end(), [&](const KindEntry& k) {
    return told != nullptr && told->kind == Node::Kind::text && told->text == k.name;
  });
  if (kind == family.end()) return true;  // which keys there may be is not known
  auto known = kind->keys();
  known.insert(known.begin(), kind_key);
  known.insert(known.end(), common.begin(), common.end());
  bool good = true;
  std::erase_if(own.members, [&](const Node::Member& m) {
    if (m.key == "$schema" || holds(known, m.key)) return false;
    problems.add(m.key_at, "unknown key '" + m.key + "' in '" + kind->name + "'", one_of(known),
                 did_you_mean(m.key, known));
    good = false;
    return true;
  });
  return good;
}

}  // namespace trackrod
