// Field tables: reading, every problem with its place, and the schema they write.

#include "harness/base/fields.hpp"

#include <iomanip>
#include <nlohmann/json.hpp>
#include <sstream>

#include "tests/catch.hpp"

using namespace trackrod;
using namespace std::chrono_literals;

namespace {

enum class Colour { red, blue };
struct Wheel {
  double radius{0.0};
  std::optional<bool> spare;
};
struct Cart {
  std::string name;
  int seats{2};
  Colour colour{Colour::red};
  Duration stop{};
  double weight{0.0};
  Located<Quantity> load;
  Located<Unit> unit;
  std::string bought;
  std::vector<std::pair<Name, Wheel>> wheels;
  std::vector<double> gears;
};

const Fields<Wheel>& wheel_fields() {
  static const auto fields = Fields<Wheel>{"wheel", "A wheel"}
                                 .need("radius", &Wheel::radius, quantity("mm", 1, 1000), "of the rim")
                                 .may("spare", &Wheel::spare, maybe(flag()), "not mounted");
  return fields;
}
const Fields<Cart>& cart_fields() {
  static const auto fields =
      Fields<Cart>{"cart", "A cart"}
          .need("name", &Cart::name, text(), "what it is called")
          .may("seats", &Cart::seats, integer<int>(1, 9), "for people")
          .may("colour", &Cart::colour, choice<Colour>({{"red", Colour::red}, {"blue", Colour::blue}}), "paint")
          .may("stop", &Cart::stop, duration(1ms, 10s), "time to stop")
          .may("weight", &Cart::weight, number(0, 500), "kg")
          .may("load", &Cart::load, any_quantity(), "what it carries")
          .may("unit", &Cart::unit, unit_name(), "of the load")
          .may("bought", &Cart::bought, day(), "when")
          .may("wheels", &Cart::wheels, dictionary(object(wheel_fields)), "by place")
          .may("gears", &Cart::gears, list(number(0, 10), 1, 3), "ratios");
  return fields;
}

struct Read {
  Cart cart;
  bool good{false};
  std::vector<Problem> problems;
};
Read read(const std::string& text) {
  Read r;
  Problems problems;
  const auto root = parse_json(text, "f.json", problems);
  REQUIRE(root);
  r.good = cart_fields().read(*root, r.cart, problems);
  r.problems = problems.sorted();
  return r;
}

}  // namespace

TEST_CASE("an object is read by its table, in the units of the table") {
  const auto r = read(
      R"({"$schema": "x", "name": "c", "seats": 3, "colour": "blue", "stop": "0.5 s", "weight": 12.5, "load": "3 kN",
    "unit": "Nm", "bought": "2024-02-29", "wheels": {"front.left": {"radius": "0.2 m", "spare": true}, "rear": {"radius": "30 cm"}},
    "gears": [1, 2.5]})");
  for (const auto& p : r.problems) UNSCOPED_INFO(p.sentence());
  REQUIRE(r.good);
  CHECK(r.cart.seats == 3);
  CHECK(r.cart.colour == Colour::blue);
  CHECK(r.cart.stop == 500ms);
  CHECK(r.cart.load.value.value == 3.0);
  CHECK(r.cart.load.value.unit.text() == "kN");
  CHECK(r.cart.load.at.path == "/load");
  REQUIRE(r.cart.wheels.size() == 2);
  CHECK(r.cart.wheels[0].first.value == "front.left");
  CHECK(r.cart.wheels[0].second.radius == Approx(200.0));
  CHECK(r.cart.wheels[0].second.spare == true);
  CHECK(r.cart.wheels[1].second.radius == Approx(300.0));
  CHECK_FALSE(r.cart.wheels[1].second.spare);
  CHECK(r.cart.gears == std::vector<double>{1.0, 2.5});
}

TEST_CASE("a time at its bound is allowed, in whichever unit it is written") {
  for (const auto& [low, high] : {std::pair<Duration, Duration>{1us, 10s}, {250us, 1h}, {1ms, 100ms}}) {
    const auto shape = duration(low, high);
    for (const auto d : {low, high})
      for (const auto& [unit, size] : {std::pair{" ns", 1e0}, {" us", 1e3}, {" ms", 1e6}, {" s", 1e9}}) {
        std::ostringstream text;
        text << std::setprecision(15) << static_cast<double>(d.count()) / size << unit;
        INFO(text.str());
        Problems problems;
        const auto root = parse_json("\"" + text.str() + "\"", "f.json", problems);
        REQUIRE(root);
        Duration out{};
        CHECK(shape.read(*root, out, problems));
        CHECK(out == d);
      }
  }
}

TEST_CASE("a wrong value is told at its place with what is allowed") {
  struct Case {
    const char *value, *path, *found, *said;
  };
  const auto c = GENERATE(values<Case>({
      {R"("name": "")", "/name", "\"\"", "a text"},
      {R"("name": 3)", "/name", "3", "a text"},
      {R"("seats": 0)", "/seats", "0", "a whole number, 1 to 9"},
      {R"("seats": 2.5)", "/seats", "2.5", "a whole number, 1 to 9"},
      {R"("seats": "2")", "/seats", "\"2\"", "a whole number"},
      {R"("seats": 1e30)", "/seats", "1e30", "a whole number"},
      {R"("seats": true)", "/seats", "true", "a whole number"},
      {R"("colour": "blu")", "/colour", "\"blu\"", "did you mean 'blue'?"},
      {R"("colour": null)", "/colour", "null", "'red' or 'blue'"},
      {R"("stop": 40)", "/stop", "40", "in quotes"},
      {R"("stop": "40 deg")", "/stop", "40 deg", "'deg' and 's'"},
      {R"("stop": "40 Hz")", "/stop", "40 Hz", "'Hz' and 's'"},
      {R"("stop": "0 s")", "/stop", "0 s", "1 ms to 10 s"},
      {R"("stop": "11 s")", "/stop", "11 s", "1 ms to 10 s"},
      {R"("stop": "40 mss")", "/stop", "40 mss", "did you mean 'ms'?"},
      {R"("weight": 501)", "/weight", "501", "0 to 500"},
      {R"("load": "3")", "", "", ""},
      {R"("load": "N 3")", "/load", "N 3", "a number and a unit"},
      {R"("unit": "degs")", "/unit", "degs", "did you mean 'deg'?"},
      {R"("unit": 1)", "/unit", "1", "a unit in quotes"},
      {R"("bought": "2023-02-29")", "/bought", "2023-02-29", "a date"},
      {R"("bought": "2023-2-9")", "/bought", "2023-2-9", "a date"},
      {R"("wheels": [])", "/wheels", "a list of 0", "an object"},
      {R"("wheels": {"1st": {"radius": "3 mm"}})", "/wheels/1st", "'1st'", "a letter, then"},
      {R"("wheels": {"a": {"radius": "3 mm", "spare": 1}})", "/wheels/a/spare", "1", "true or false"},
      {R"("wheels": {"a": {}})", "/wheels/a", "'radius' is missing", "of the rim"},
      {R"("wheels": {"a": {"radius": "3 mm", "radus": 1}})", "/wheels/a/radus", "'radus'", "did you mean 'radius'?"},
      {R"("gears": [])", "/gears", "a list of 0", "at least 1"},
      {R"("gears": [1, 2, 3, 4])", "/gears", "a list of 4", "at most 3"},
      {R"("gears": [1, "2"])", "/gears/1", "\"2\"", "a number, 0 to 10"},
      {R"("gear": [1])", "/gear", "'gear'", "did you mean 'gears'?"},
  }));
  const auto text =
      std::string{"{"} + (std::string{c.value}.find("\"name\"") == 0 ? "" : "\"name\": \"c\", ") + c.value + "}";
  CAPTURE(text);
  const auto r = read(text);
  if (std::string{c.path}.empty()) {
    CHECK(r.good);
    return;
  }
  CHECK_FALSE(r.good);
  REQUIRE(r.problems.size() == 1);
  INFO(r.problems.front().sentence());
  CHECK(r.problems.front().at.path == c.path);
  CHECK(r.problems.front().found.find(c.found) != std::string::npos);
  CHECK(r.problems.front().sentence().find(c.said) != std::string::npos);
}

TEST_CASE("all problems of an object are told at once") {
  const auto r = read(R"({"seats": 0, "weigth": 3, "colour": "green", "wheels": {"a": {"spare": 0}}})");
  CHECK(r.problems.size() == 6);  // name missing, seats, weigth, colour, radius missing, spare
}

TEST_CASE("a family member is read by its kind, and an unknown kind is told with the nearest") {
  const std::vector<KindEntry> family{kind("wheel", wheel_fields), kind("cart", cart_fields)};
  const auto read_one = [&](const std::string& text, Chosen& chosen) {
    Problems problems;
    const auto root = parse_json(text, "f.json", problems);
    const bool good = read_kind(*root, "kind", family, chosen, problems);
    CHECK(good == problems.none());
    return problems.none() ? std::string{} : problems.sorted().front().sentence();
  };
  Chosen chosen;
  CHECK(read_one(R"({"kind": "wheel", "radius": "5 mm"})", chosen).empty());
  CHECK(chosen.kind == "wheel");
  CHECK(std::any_cast<Wheel>(chosen.value).radius == Approx(5.0));
  CHECK(read_one(R"({"kind": "whel"})", chosen)
            .find("1:10: /kind: found \"whel\"; allowed: 'wheel' or 'cart'; did you mean 'wheel'?") !=
        std::string::npos);
  CHECK(read_one(R"({"radius": "5 mm"})", chosen).find("'kind' is missing") != std::string::npos);
  CHECK(read_one(R"({"kind": 3})", chosen).find("1:10: /kind") != std::string::npos);
  CHECK(read_one(R"([])", chosen).find("an object with 'kind'") != std::string::npos);
}

TEST_CASE("the schema holds every key, what is needed and what is allowed, and defines each object once") {
  SchemaBook book;
  const auto root = cart_fields().schema(book);
  cart_fields().schema(book);
  const auto schema = nlohmann::json::parse(book.document("carts", root));
  const auto& cart = schema["definitions"]["cart"];
  CHECK(schema["allOf"][0]["$ref"] == "#/definitions/cart");
  CHECK(cart["required"] == nlohmann::json::array({"name"}));
  CHECK(cart["additionalProperties"] == false);
  CHECK(cart["properties"]["seats"]["maximum"] == 9);
  CHECK(cart["properties"]["colour"]["enum"] == nlohmann::json::array({"red", "blue"}));
  CHECK(cart["properties"]["wheels"]["additionalProperties"]["$ref"] == "#/definitions/wheel");
  CHECK(schema["definitions"].size() == 2);
  for (const auto& face : cart_fields().faces()) {
    CAPTURE(face.key);
    REQUIRE(cart["properties"].contains(face.key));
    CHECK(cart["properties"][face.key]["description"].get<std::string>().find(face.doc) == 0);
  }
}

TEST_CASE("kinds of different families under one name are defined apart") {
  SchemaBook book;
  const auto a = kinds_schema(book, "do", {kind("step", wheel_fields)});
  const auto b = kinds_schema(book, "score", {kind("step", wheel_fields)});
  CHECK((*a)["oneOf"][0]["$ref"] != (*b)["oneOf"][0]["$ref"]);
}
