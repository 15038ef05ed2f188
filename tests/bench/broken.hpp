#pragma once
// Bench files with one mistake each: the demo bench with one piece of text replaced.

#include <string>
#include <vector>

namespace trackrod::test {

// What a JSON Schema can say of it.
enum class Judged { no_json, refused, valid };

struct Broken {
  int line;                  // in the table's source: names the case
  const char* piece;         // stands once in the demo bench
  const char* in_its_place;  // a ` marks where the problem must be told
  const char* path;
  std::vector<const char*> said;  // all of them in the problem's sentence
  Judged judged{Judged::refused};
  const char* told_at{nullptr};  // instead of the mark: a text that stands once in the broken file
  int count{1};                  // problems in all
};
std::vector<Broken> broken_descriptions();  // the file, devices and signals
std::vector<Broken> broken_safety();        // calibrations, axes, interlocks, arming, the safe state and faults

inline std::vector<Broken> all_broken() {
  auto all = broken_descriptions();
  for (auto& b : broken_safety()) all.push_back(b);
  return all;
}

struct BrokenText {
  std::string text;
  int line{0}, column{0};  // of the mistake
};
BrokenText broken_text(const Broken& broken);

}  // namespace trackrod::test
