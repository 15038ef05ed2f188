#pragma once
// Objects of a family that share some keys whatever their kind: the name of a step, the limits of a criterion.

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/fields.hpp"

namespace trackrod {

// The node with the members whose keys are in `keys`, and the node with the others.
std::pair<Node, Node> split_keys(const Node& object, const std::vector<std::string>& keys);
// Tells of keys that neither the common table nor the kind knows, and takes them out of `own`.
bool drop_unknown_keys(Node& own, const std::vector<std::string>& common, const std::string& kind_key,
                       const std::vector<KindEntry>& family, Problems& problems);

template <class T>
std::vector<std::string> keys_of(const Fields<T>& table) {
  std::vector<std::string> keys;
  for (const auto& face : table.faces()) keys.push_back(face.key);
  return keys;
}

// Reads the common keys by their table into `shared` and the others by the table of the kind into `chosen`.
template <class T>
bool read_with_common(const Node& n, const Fields<T>& common, const std::string& kind_key,
                      const std::vector<KindEntry>& family, T& shared, Chosen& chosen, Problems& problems) {
  if (n.kind != Node::Kind::object) return read_kind(n, kind_key, family, chosen, problems);
  const auto keys = keys_of(common);
  auto [mine, own] = split_keys(n, keys);
  bool good = drop_unknown_keys(own, keys, kind_key, family, problems);
  good = common.read(mine, shared, problems) && good;
  return read_kind(own, kind_key, family, chosen, problems) && good;
}

}  // namespace trackrod
