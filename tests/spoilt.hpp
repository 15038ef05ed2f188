#pragma once
// Of a file that is spoilt in one field after the other: the fields to spoil. A sanitizer, which makes each reading ten
// times as slow, sees each tenth; where it begins is drawn, so that in time it sees all.

#include <random>
#include <vector>

#include "tests/catch.hpp"

namespace trackrod::test {

template <class Field>
std::vector<Field> to_spoil(const std::vector<Field>& fields) {
#ifdef TRACKROD_SANITIZED
  constexpr std::size_t every = 10;
#else
  constexpr std::size_t every = 1;
#endif
  const auto first = std::random_device{}() % every;
  UNSCOPED_INFO("fields from number " << first << " on, each " << every << "th");
  std::vector<Field> chosen;
  for (std::size_t i = first; i < fields.size(); i += every) chosen.push_back(fields[i]);
  return chosen;
}

}  // namespace trackrod::test
