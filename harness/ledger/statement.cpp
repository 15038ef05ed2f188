#include "harness/ledger/statement.hpp"

#include <nlohmann/json.hpp>

namespace trackrod {
namespace {

using Text = boost::optional<std::string>;
using Whole = boost::optional<long long>;
using Real = boost::optional<double>;

template <class T>
auto held(const Cell& cell) {
  return std::get<boost::optional<T>>(cell);
}

}  // namespace

Cell to_cell(const std::string& text) { return text.empty() ? Text{} : Text{text}; }
Cell to_cell(std::int64_t number) { return Whole{number}; }
Cell to_cell(int number) { return Whole{number}; }
Cell to_cell(bool flag) { return Whole{flag ? 1 : 0}; }
Cell to_cell(double number) { return Real{number}; }
Cell to_cell(const std::optional<double>& number) { return number ? Real{*number} : Real{}; }
Cell to_cell(const std::vector<std::string>& list) { return Text{nlohmann::json(list).dump()}; }
Cell to_cell(const Pairs& pairs) {
  auto object = nlohmann::ordered_json::object();
  for (const auto& [name, value] : pairs) object[name] = value;
  return Text{object.dump()};
}

void from_cell(const Cell& cell, std::string& text) { text = held<std::string>(cell).value_or(""); }
void from_cell(const Cell& cell, std::int64_t& number) { number = held<long long>(cell).value_or(0); }
void from_cell(const Cell& cell, int& number) { number = static_cast<int>(held<long long>(cell).value_or(0)); }
void from_cell(const Cell& cell, bool& flag) { flag = held<long long>(cell).value_or(0) != 0; }
void from_cell(const Cell& cell, double& number) { number = held<double>(cell).value_or(0.0); }
void from_cell(const Cell& cell, std::optional<double>& number) {
  const auto found = held<double>(cell);
  number = found ? std::optional{*found} : std::nullopt;
}
void from_cell(const Cell& cell, std::vector<std::string>& list) {
  list = nlohmann::json::parse(held<std::string>(cell).value_or("[]")).get<std::vector<std::string>>();
}
void from_cell(const Cell& cell, Pairs& pairs) {
  const auto object = nlohmann::ordered_json::parse(held<std::string>(cell).value_or("{}"));
  pairs.clear();
  for (const auto& [name, value] : object.items()) pairs.emplace_back(name, value.get<std::string>());
}

NewRow& NewRow::key(const char* column, const std::string& text) {
  columns_.emplace_back(column);
  cells_.emplace_back(Text{text});
  return *this;
}

NewRow& NewRow::key(const char* column, int number) {
  (*this)(column, number);
  return *this;
}

void NewRow::into(Connection& connection, const std::string& table) {
  soci::statement statement{connection.sql};
  std::string names, values;
  for (std::size_t i = 0; i < columns_.size(); ++i) {
    names += (i > 0 ? ", " : "") + columns_[i];
    values += (i > 0 ? ", :" : ":") + columns_[i];
    std::visit([&](auto& held) { statement.exchange(soci::use(held, columns_[i])); }, cells_[i]);
  }
  statement.alloc();
  statement.prepare("insert into " + table + " (" + names + ") values (" + values + ")");
  statement.define_and_bind();
  statement.execute(true);
}

void Question::value(const std::string& name, const std::string& text) { values_.emplace_back(name, text); }

void Question::ask(const std::string& rest) {
  for (auto& cell : cells_) std::visit([&](auto& held) { statement_.exchange(soci::into(held)); }, cell);
  for (auto& [name, text] : values_) statement_.exchange(soci::use(text, name));
  statement_.alloc();
  statement_.prepare("select " + columns_ + " " + rest);
  statement_.define_and_bind();
  statement_.execute(false);
}

bool Question::next() {
  at_ = 0;
  return statement_.fetch();
}

}  // namespace trackrod
