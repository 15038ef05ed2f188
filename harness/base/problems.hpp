#pragma once
// Everything that is wrong with a file, collected so that the technician sees all of it in one go.

#include <string>
#include <string_view>
#include <vector>

namespace trackrod {

// A place in a file. Line and column count from 1; path is that of the value, "/signals/3/unit".
struct Where {
  std::string file;
  int line{0};
  int column{0};
  std::string path;
};

struct Problem {
  Where at;
  std::string found;    // what stands there
  std::string allowed;  // what may stand there
  std::string advice;   // what to try; may be empty

  // file:line:column: path: found ...; allowed: ...; advice
  std::string sentence() const;
};

class Problems {
 public:
  // The same at the same place is told once.
  void add(Where at, std::string found, std::string allowed, std::string advice = "");
  bool none() const { return all_.empty(); }
  std::size_t count() const { return all_.size(); }
  // In the order of file, line and column.
  std::vector<Problem> sorted() const;

 private:
  std::vector<Problem> all_;
};

// The known name nearest to `name` by edit distance, or empty when none is near.
std::string nearest(std::string_view name, const std::vector<std::string>& known);
// "did you mean 'x'?" or empty.
std::string did_you_mean(std::string_view name, const std::vector<std::string>& known);
// "'a', 'b' or 'c'"
std::string one_of(const std::vector<std::string>& names);

}  // namespace trackrod
