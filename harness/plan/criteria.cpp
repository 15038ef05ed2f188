#include "harness/plan/criteria.hpp"

#include <algorithm>

#include "harness/plan/common_keys.hpp"
#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

const Fields<WrittenLimit>& limit_fields() {
  static const auto fields =
      Fields<WrittenLimit>{"a limit", "What one finding may be; 'at_most', 'at_least' or 'within', just one of them"}
          .need("finding", &WrittenLimit::finding, name(), "finding of the score, as in \"dead_time\"")
          .may("at_most", &WrittenLimit::at_most, maybe(any_quantity()), "upper limit")
          .may("at_least", &WrittenLimit::at_least, maybe(any_quantity()), "lower limit")
          .may("within", &WrittenLimit::within, located(list(any_quantity(), 2, 2)), "lower and upper limit")
          .may("rule", &WrittenLimit::rule,
               choice<DecisionRule>({{"guarded", DecisionRule::guarded}, {"simple", DecisionRule::simple}}),
               "guarded: passes only with the whole uncertainty interval inside the limit; simple: by the value alone")
          .may("requirement", &WrittenLimit::requirement, text(), "identifier of the requirement")
          .may("stops", &WrittenLimit::stops, located(flag()),
               "true: looked at while the run goes on; once it fails, the repeat that runs ends with its pass");
  return fields;
}

class CriterionReader {
 public:
  CriterionReader(const CriterionScope& scope, Problems& problems) : scope_{scope}, problems_{problems} {}

  Criterion read(const Node& n) {
    CriterionKeys keys;
    Chosen chosen;
    read_with_common(n, criterion_fields(), "score", score_kinds(scope_.catalogue), keys, chosen, problems_);
    criterion_.at = n.at;
    criterion_.score = chosen.kind;
    criterion_.settings = std::move(chosen.value);
    for (const auto& s : scope_.catalogue.scores)
      if (s.settings.name == chosen.kind) score_ = &s;
    criterion_.by_cycle = score_ != nullptr && score_->by_cycle;
    take_steps(n, keys);
    take_signals(n, keys);
    for (const auto& name : keys.conditions)
      if (const auto i = find(name, criterion_.absent_conditions)) criterion_.conditions.push_back(*i);
    if (score_ != nullptr)
      for (const auto& limit : keys.limits) take_limit(limit);
    return std::move(criterion_);
  }

 private:
  std::optional<SignalIndex> find(const Name& name, std::vector<std::string>& absent) {
    const auto found = scope_.bench.find(name.value);
    if (!found && scope_.of_recording) {
      absent.push_back(name.value);
      return std::nullopt;
    }
    const auto names = scope_.bench.signal_names();
    if (!found)
      problems_.add(name.at, "unknown signal '" + name.value + "'", "a signal of the bench: " + one_of(names),
                    did_you_mean(name.value, names));
    return found;
  }

  void take_steps(const Node& n, const CriterionKeys& keys) {
    for (const auto& name : keys.steps.value) {
      const auto is = [&](const std::vector<std::string>& names) {
        return std::find(names.begin(), names.end(), name.value) != names.end();
      };
      if (is(scope_.steps))
        criterion_.steps.push_back(name.value);
      else
        problems_.add(
            name.at,
            is(scope_.repeats) ? "'" + name.value + "' holds other steps" : "unknown step '" + name.value + "'",
            "a step of the plan: " + one_of(scope_.steps),
            is(scope_.repeats) ? "name the steps inside it; every pass of them is read"
                               : did_you_mean(name.value, scope_.steps));
    }
    if (n.find("steps") != nullptr || score_ == nullptr) return;
    if (score_->roles.empty())
      criterion_.steps = scope_.steps;  // a score of the run itself: all of it
    else
      problems_.add(n.at, "the key 'steps' is missing in a criterion",
                    "'steps': names of the steps that the score reads");
  }

  void take_signals(const Node& n, const CriterionKeys& keys) {
    std::vector<std::string> roles, given;
    if (score_ != nullptr)
      for (const auto& r : score_->roles) roles.push_back(r.name);
    for (const auto& [role, name] : keys.signals.value) {
      given.push_back(role.value);
      const auto index = find(name, criterion_.absent);
      if (score_ != nullptr && std::find(roles.begin(), roles.end(), role.value) == roles.end())
        problems_.add(role.at, "unknown role '" + role.value + "' of score '" + score_->settings.name + "'",
                      roles.empty() ? "no signals, this score needs none" : one_of(roles),
                      did_you_mean(role.value, roles));
      else if (index)
        criterion_.signals.emplace_back(role.value, *index);
    }
    if (score_ == nullptr) return;
    for (const auto& role : score_->roles)
      if (role.need == ScoreRole::Need::always && std::find(given.begin(), given.end(), role.name) == given.end())
        problems_.add(keys.signals.at.line > 0 ? keys.signals.at : n.at,
                      "no signal for the role '" + role.name + "' of score '" + score_->settings.name + "'",
                      "\"signals\": {\"" + role.name + "\": a signal of the bench, ...}", role.doc);
  }

  // Empty when a role that the unit names has no signal.
  std::optional<std::string> unit_of(const FindingKind& finding) const {
    std::vector<std::pair<std::string, std::string>> units;
    for (const auto& [role, signal] : criterion_.signals)
      units.emplace_back(role, scope_.bench.signals[signal].info.unit);
    for (const auto& role : score_->roles) {
      const bool known = std::any_of(units.begin(), units.end(), [&](const auto& u) { return u.first == role.name; });
      if (!known && finding.unit.find(role.name) != std::string::npos) return {};
    }
    return unit_with_roles(finding.unit, units);
  }

  void take_limit(const Located<WrittenLimit>& limit) {
    const auto& written = limit.value;
    std::vector<std::string> names;
    for (const auto& f : score_->findings) names.push_back(f.name);
    const auto at = std::find(names.begin(), names.end(), written.finding.value);
    if (at == names.end() && !written.finding.value.empty())
      problems_.add(written.finding.at,
                    "unknown finding '" + written.finding.value + "' of score '" + score_->settings.name + "'",
                    one_of(names), did_you_mean(written.finding.value, names));
    const bool within = written.within.at.line > 0;
    if (written.at_most.has_value() + written.at_least.has_value() + within != 1) {
      problems_.add(limit.at, "a limit with none or several of 'at_most', 'at_least' and 'within'", "just one of them");
      return;
    }
    if (at == names.end()) return;
    auto unit = unit_of(score_->findings[static_cast<std::size_t>(at - names.begin())]);
    if (!unit && !criterion_.absent.empty()) unit = unit_as_written(written);
    if (!unit) return;  // its signal is missing, which is told
    if (written.stops.value && !score_->by_cycle)
      problems_.add(written.stops.at, "'stops' for score '" + score_->settings.name + "'",
                    "a score that takes its steps cycle by cycle: drift",
                    "follow the finding: {\"score\": \"drift\", \"of\": {\"score\": \"" + score_->settings.name +
                        "\"}, \"finding\": \"" + *at + "\", ...}");
    LimitSpec spec{score_->settings.name + "." + *at,
                   LimitKind::within,
                   0,
                   0,
                   *unit,
                   written.rule,
                   written.requirement,
                   written.stops.value};
    bool good = true;
    const auto take = [&](const Located<Quantity>& q) {
      const auto v = value(q, *unit);
      good = good && v.has_value();
      return v.value_or(0.0);
    };
    if (written.at_most) {
      spec.kind = LimitKind::at_most;
      spec.high = take(*written.at_most);
    } else if (written.at_least) {
      spec.kind = LimitKind::at_least;
      spec.low = take(*written.at_least);
    } else if (written.within.value.size() == 2) {
      spec.low = take(written.within.value[0]);
      spec.high = take(written.within.value[1]);
      if (good && spec.low > spec.high)
        problems_.add(written.within.at, "a lower limit that is above the upper one", "the lower one first");
    }
    if (std::ranges::find(criterion_.limits, spec.finding, &LimitSpec::finding) != criterion_.limits.end())
      problems_.add(written.finding.at, "a second limit for '" + written.finding.value + "'",
                    "one limit for each finding of a criterion", "\"within\" has a lower and an upper one");
    criterion_.limits.push_back(std::move(spec));
  }

  // Of a limit that nothing will be held against.
  static std::optional<std::string> unit_as_written(const WrittenLimit& limit) {
    if (limit.at_most) return limit.at_most->value.unit.text();
    if (limit.at_least) return limit.at_least->value.unit.text();
    if (!limit.within.value.empty()) return limit.within.value.front().value.unit.text();
    return {};
  }

  std::optional<double> value(const Located<Quantity>& q, const std::string& unit_text) {
    const auto unit = Unit::parse(unit_text);
    const auto found = "found \"" + in_words(q.value.value, q.value.unit.text()) + "\"";
    const auto convert =
        unit ? Conversion::between(q.value.unit, *unit) : Result<Conversion>{tl::unexpected<Error>{unit.error()}};
    // A finding is mostly a difference, which a shift of the zero must not touch.
    if (convert && convert->offset() == 0.0) return (*convert)(q.value.value);
    const bool number = unit_text == "1";
    problems_.add(q.at, found, number ? "a number without a unit" : "a quantity in " + unit_text,
                  convert ? "" : convert.error().context);
    return {};
  }

  const CriterionScope& scope_;
  Problems& problems_;
  const ScoreEntry* score_{nullptr};
  Criterion criterion_;
};

}  // namespace

const Fields<CriterionKeys>& criterion_fields() {
  static const auto fields =
      Fields<CriterionKeys>{"a criterion", "A score, the steps it reads, and the limits of its findings"}
          .may("grid", &CriterionKeys::grid, name(),
               "one of the plan's grids: a criterion for each of its combinations")
          .may("steps", &CriterionKeys::steps, located(list(name(), 1)),
               "names of the steps that the score reads; every repetition counts; not needed for a score of the run "
               "itself")
          .may("signals", &CriterionKeys::signals, located(dictionary(name())),
               "which signal plays which role of the score")
          .may("conditions", &CriterionKeys::conditions, list(name()),
               "signals whose mean over the steps is stated with each finding")
          .may("limits", &CriterionKeys::limits, list(located(object(limit_fields))),
               "limits of findings; a finding without one is reported without a verdict");
  return fields;
}

std::vector<KindEntry> score_kinds(const Catalogue& catalogue) {
  std::vector<KindEntry> kinds;
  for (const auto& s : catalogue.scores) kinds.push_back(s.settings);
  return kinds;
}

Criterion read_criterion(const Node& n, const CriterionScope& scope, Problems& problems) {
  return CriterionReader{scope, problems}.read(n);
}

}  // namespace trackrod
