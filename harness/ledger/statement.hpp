#pragma once
// One statement with its values by name, and the rows that it gives. Throws what SOCI throws.

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "harness/ledger/connection.hpp"

namespace trackrod {

// What a column holds. Text that is empty stands as null, a flag as 0 or 1, a list as JSON.
using Cell = std::variant<boost::optional<std::string>, boost::optional<long long>, boost::optional<double>>;
using Pairs = std::vector<std::pair<std::string, std::string>>;

Cell to_cell(const std::string& text);
Cell to_cell(std::int64_t number);
Cell to_cell(int number);
Cell to_cell(bool flag);
Cell to_cell(double number);
Cell to_cell(const std::optional<double>& number);
Cell to_cell(const std::vector<std::string>& list);
Cell to_cell(const Pairs& pairs);
void from_cell(const Cell& cell, std::string& text);
void from_cell(const Cell& cell, std::int64_t& number);
void from_cell(const Cell& cell, int& number);
void from_cell(const Cell& cell, bool& flag);
void from_cell(const Cell& cell, double& number);
void from_cell(const Cell& cell, std::optional<double>& number);
void from_cell(const Cell& cell, std::vector<std::string>& list);
void from_cell(const Cell& cell, Pairs& pairs);

// A row to be put into a table.
class NewRow {
 public:
  template <class T>
  void operator()(const char* column, const T& value) {
    columns_.emplace_back(column);
    cells_.push_back(to_cell(value));
  }
  // Of a key, where empty text is a name like others.
  NewRow& key(const char* column, const std::string& text);
  NewRow& key(const char* column, int number);
  void into(Connection& connection, const std::string& table);

 private:
  std::vector<std::string> columns_;
  std::deque<Cell> cells_;
};

// A question. First the columns that it asks for, in their order, then the values of its conditions, then its rows.
class Question {
 public:
  explicit Question(Connection& connection) : statement_{connection.sql} {}
  // The type of `member` says what is read. `prefix` is that of the table: "r.".
  template <class T>
  void operator()(const char* column, const T&) {
    columns_ += (columns_.empty() ? "" : ", ") + prefix + column;
    cells_.push_back(to_cell(T{}));
  }
  void value(const std::string& name, const std::string& text);

  // "select ", the columns, and `rest`.
  void ask(const std::string& rest);
  bool next();
  // In the order in which the columns were asked for.
  template <class T>
  void read(T& member) {
    from_cell(cells_[at_++], member);
  }

  std::string prefix;

 private:
  std::string columns_;
  std::deque<Cell> cells_;
  std::deque<std::pair<std::string, std::string>> values_;
  std::size_t at_{0};
  soci::statement statement_;  // goes first: it points into the cells
};

}  // namespace trackrod
