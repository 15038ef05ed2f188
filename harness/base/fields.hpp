#pragma once
// Field tables: one table per kind of object in a file. The same table reads the object (checked, every problem
// reported with its place) and writes the JSON Schema that editors use, so no rule stands twice.
//
//   const Fields<Udp>& udp_fields() {
//     static const auto fields = Fields<Udp>{"udp", "A UDP socket"}
//       .need("local_port", &Udp::local_port, integer<int>(1, 65535), "port we listen on")
//       .may("peer", &Udp::peer, text(), "address of the device");
//     return fields;
//   }

#include <any>
#include <cstdint>
#include <functional>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "harness/base/node.hpp"
#include "harness/base/time.hpp"
#include "harness/base/units.hpp"

namespace trackrod {

// A piece of JSON Schema. Behind a pointer so that files with field tables need not compile the JSON library.
using Schema = std::shared_ptr<nlohmann::json>;

// A value and where it stands, for checks that come later than reading.
template <class T>
struct Located {
  T value{};
  Where at;
};
using Name = Located<std::string>;

// Collects the named parts ("$defs") of a schema while it is written.
class SchemaBook {
 public:
  SchemaBook();
  SchemaBook(const SchemaBook&) = delete;
  SchemaBook& operator=(const SchemaBook&) = delete;
  // A reference to the definition `name`, which `write` makes when it is not there yet.
  Schema define(const std::string& name, const std::function<Schema()>& write);
  // The whole document: `root` with the definitions collected so far.
  std::string document(const std::string& title, const Schema& root) const;

 private:
  Schema definitions_;
};

// How one value is read and described. read() returns false after it has told `problems` why.
template <class T>
struct Shape {
  std::function<bool(const Node&, T&, Problems&)> read;
  std::function<Schema(SchemaBook&)> schema;
};

Shape<std::string> text();                              // not empty
Shape<std::string> word();                              // letters, digits, '_', '.', '-'; starts with a letter
Shape<std::string> day();                               // a date, "2026-11-25"
Shape<bool> flag();                                     // true or false
Shape<double> number(double low, double high);          // finite, within [low, high]
Shape<Duration> duration(Duration low, Duration high);  // "40 ms"
Shape<double> quantity(const std::string& unit, double low,
                       double high);      // "12 deg", given in `unit`, within [low, high] of it
Shape<Located<Quantity>> any_quantity();  // any unit; the meaning is checked later
Shape<Located<Unit>> unit_name();         // "deg/s"
Shape<Node> raw();                        // kept as it stands, read later
Shape<std::int64_t> whole_number(std::int64_t low, std::int64_t high);

template <class I>
Shape<I> integer(std::int64_t low, std::int64_t high) {
  auto wide = whole_number(low, high);
  return {[wide](const Node& n, I& out, Problems& p) {
            std::int64_t v{};
            if (!wide.read(n, v, p)) return false;
            out = static_cast<I>(v);
            return true;
          },
          wide.schema};
}

namespace detail {
void complain_kind(const Node& found, const std::string& allowed, Problems& problems);
void complain_choice(const Node& found, const std::vector<std::string>& names, Problems& problems);
Schema list_schema(Schema item, std::size_t least, std::size_t most);
Schema choice_schema(const std::vector<std::string>& names);
Schema dictionary_schema(Schema value);
bool check_word(const std::string& key, const Where& at, Problems& problems);

struct FieldFace {
  std::string key;
  std::string doc;
  bool needed{false};
};
// Unknown keys and missing needed ones.
bool check_keys(const Node& object, const std::string& what, const std::vector<FieldFace>& faces,
                const std::string& extra, Problems& problems);
Schema object_schema(const std::string& doc, const std::vector<FieldFace>& faces, const std::vector<Schema>& values,
                     const std::string& kind_key, const std::string& kind);
}  // namespace detail

template <class E>
Shape<E> choice(std::vector<std::pair<std::string, E>> options) {
  std::vector<std::string> names;
  for (const auto& o : options) names.push_back(o.first);
  return {[options, names](const Node& n, E& out, Problems& p) {
            if (n.kind == Node::Kind::text)
              for (const auto& [name, value] : options)
                if (n.text == name) return out = value, true;
            detail::complain_choice(n, names, p);
            return false;
          },
          [names](SchemaBook&) { return detail::choice_schema(names); }};
}

template <class T>
Shape<Located<T>> located(Shape<T> inner) {
  return {[inner](const Node& n, Located<T>& out, Problems& p) {
            out.at = n.at;
            return inner.read(n, out.value, p);
          },
          inner.schema};
}
inline Shape<Name> name() { return located(word()); }

template <class T>
Shape<std::optional<T>> maybe(Shape<T> inner) {
  return {[inner](const Node& n, std::optional<T>& out, Problems& p) { return inner.read(n, out.emplace(), p); },
          inner.schema};
}

template <class T>
Shape<std::vector<T>> list(Shape<T> item, std::size_t least = 0, std::size_t most = SIZE_MAX) {
  return {[=](const Node& n, std::vector<T>& out, Problems& p) {
            if (n.kind != Node::Kind::list || n.items.size() < least || n.items.size() > most) {
              auto want = std::string{"a list"};
              if (least > 0) want += " of at least " + std::to_string(least);
              if (most != SIZE_MAX) want += " of at most " + std::to_string(most);
              detail::complain_kind(n, want, p);
              return false;
            }
            bool good = true;
            for (const auto& i : n.items) good = item.read(i, out.emplace_back(), p) && good;
            return good;
          },
          [=](SchemaBook& b) { return detail::list_schema(item.schema(b), least, most); }};
}

// An object whose keys are names the file's author chose: { "hand.angle": {...}, ... }, in the order of the file.
template <class T>
Shape<std::vector<std::pair<Name, T>>> dictionary(Shape<T> value) {
  return {[=](const Node& n, std::vector<std::pair<Name, T>>& out, Problems& p) {
            if (n.kind != Node::Kind::object) return detail::complain_kind(n, "an object", p), false;
            bool good = true;
            for (const auto& m : n.members) {
              auto& entry = out.emplace_back(Name{m.key, m.key_at}, T{});
              good = detail::check_word(m.key, m.key_at, p) && good;
              good = value.read(m.value, entry.second, p) && good;
            }
            return good;
          },
          [=](SchemaBook& b) { return detail::dictionary_schema(value.schema(b)); }};
}

// One text, or a list of texts.
Shape<std::vector<std::string>> texts();

template <class T>
class Fields {
 public:
  // `what` names the object in messages and in the schema ("a signal"), one word where possible.
  Fields(std::string what, std::string doc) : what_{std::move(what)}, doc_{std::move(doc)} {}

  template <class M, class Base>
  Fields& need(const std::string& key, M Base::*member, Shape<M> shape, const std::string& doc) {
    return add(key, member, std::move(shape), doc, true);
  }
  template <class M, class Base>
  Fields& may(const std::string& key, M Base::*member, Shape<M> shape, const std::string& doc) {
    return add(key, member, std::move(shape), doc, false);
  }
  // `extra` is a key that was read already (the one that tells the kind).
  bool read(const Node& n, T& out, Problems& problems, const std::string& extra = "") const {
    if (n.kind != Node::Kind::object) return detail::complain_kind(n, "an object (" + what_ + ")", problems), false;
    bool good = detail::check_keys(n, what_, faces_, extra, problems);
    for (std::size_t i = 0; i < faces_.size(); ++i)
      if (const auto* value = n.find(faces_[i].key)) good = readers_[i](*value, out, problems) && good;
    return good;
  }
  // Defines the object in `book`; with `kind_key`, as the kind `kind` of a family.
  Schema schema(SchemaBook& book, const std::string& kind_key = "", const std::string& kind = "") const {
    return book.define(kind.empty() ? what_ : what_ + ":" + kind_key + ":" + kind, [&] {
      std::vector<Schema> values;
      for (const auto& write : schemas_) values.push_back(write(book));
      return detail::object_schema(doc_, faces_, values, kind_key, kind);
    });
  }
  const std::string& what() const { return what_; }
  const std::string& doc() const { return doc_; }
  const std::vector<detail::FieldFace>& faces() const { return faces_; }
  std::vector<std::string> keys() const {
    std::vector<std::string> keys;
    for (const auto& face : faces_) keys.push_back(face.key);
    return keys;
  }

 private:
  template <class M, class Base>
  Fields& add(const std::string& key, M Base::*member, Shape<M> shape, const std::string& doc, bool needed) {
    faces_.push_back({key, doc, needed});
    readers_.push_back(
        [member, read = shape.read](const Node& n, T& out, Problems& p) { return read(n, out.*member, p); });
    schemas_.push_back(shape.schema);
    return *this;
  }
  std::string what_, doc_;
  std::vector<detail::FieldFace> faces_;
  std::vector<std::function<bool(const Node&, T&, Problems&)>> readers_;
  std::vector<std::function<Schema(SchemaBook&)>> schemas_;
};

// The fields of `table` as the shape of one value. The function is called late, so tables may refer to each other.
template <class T>
Shape<T> object(const Fields<T>& (*table)()) {
  return {[table](const Node& n, T& out, Problems& p) { return table().read(n, out, p); },
          [table](SchemaBook& b) { return table().schema(b); }};
}

// As above, for a table made at run time (from the catalogue).
template <class T>
Shape<T> object(Fields<T> table) {
  const auto kept = std::make_shared<const Fields<T>>(std::move(table));
  return {[kept](const Node& n, T& out, Problems& p) { return kept->read(n, out, p); },
          [kept](SchemaBook& b) { return kept->schema(b); }};
}

// One kind of a family (a stimulus, a protocol, a score ...): a line in that family's table.
struct KindEntry {
  std::string name;
  std::string doc;
  std::function<bool(const Node&, const std::string& kind_key, std::any&, Problems&)> read;
  std::function<Schema(SchemaBook&, const std::string& kind_key)> schema;
  std::function<std::vector<std::string>()> keys{};  // of its own table
};

template <class T>
KindEntry kind(const std::string& name, const Fields<T>& (*table)()) {
  return {name, table().doc(),
          [table](const Node& n, const std::string& key, std::any& out, Problems& p) {
            T value{};
            const bool good = table().read(n, value, p, key);
            out = std::move(value);
            return good;
          },
          [table, name](SchemaBook& b, const std::string& key) { return table().schema(b, key, name); },
          [table] { return table().keys(); }};
}

// As above, for a table made at run time.
template <class T>
KindEntry kind(const std::string& name, Fields<T> table) {
  const auto kept = std::make_shared<const Fields<T>>(std::move(table));
  return {name, kept->doc(),
          [kept](const Node& n, const std::string& key, std::any& out, Problems& p) {
            T value{};
            const bool good = kept->read(n, value, p, key);
            out = std::move(value);
            return good;
          },
          [kept, name](SchemaBook& b, const std::string& key) { return kept->schema(b, key, name); },
          [kept] { return kept->keys(); }};
}

// An object of a family: which kind it is, and that kind's values.
struct Chosen {
  std::string kind;
  std::any value;  // the struct that the kind's table fills
  Where at;
};
// Reads an object of the family; its key `kind_key` tells the kind.
bool read_kind(const Node& n, const std::string& kind_key, const std::vector<KindEntry>& family, Chosen& out,
               Problems& problems);
Schema kinds_schema(SchemaBook& book, const std::string& kind_key, const std::vector<KindEntry>& family);

}  // namespace trackrod
