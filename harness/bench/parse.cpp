// Bench files to a Bench, in two passes: each value for itself (written.cpp), then by meaning.

#include <algorithm>
#include <cmath>

#include "harness/bench/draft.hpp"

namespace trackrod {
namespace {

// The loop's deadlines are whole microseconds.
void resolve_loop_rate(const written::Bench& file, Draft& draft) {
  if (file.loop_rate.value <= 0.0) return;
  const double us = 1e6 / file.loop_rate.value;
  if (std::abs(us - std::round(us)) > 1e-6 * us)
    draft.problems.add(file.loop_rate.at,
                       "found " + with_unit(file.loop_rate.value, "Hz") + ", a period of " + shown(us, 9) + " us",
                       "a rate whose period is a whole number of microseconds", "such as 1 kHz, 2 kHz or 4 kHz");
  draft.bench.tick = std::chrono::microseconds{std::llround(us)};
}

// What the file does not have itself, it has from the bench that it is like; in the sections that hold things by name,
// name by name. Each piece keeps its own place.
void complete(Node& root, const Node& model, Problems& problems) {
  for (const auto& member : model.members) {
    if (member.key == "like" || member.key == "include") {
      problems.add(member.key_at, "found '" + member.key + "' in a file that another bench is like",
                   "a bench file in one piece");
      continue;
    }
    const auto own = std::find_if(root.members.begin(), root.members.end(),
                                  [&](const Node::Member& m) { return m.key == member.key; });
    if (own == root.members.end()) {
      root.members.push_back(member);
      continue;
    }
    const bool by_name = member.key == "devices" || member.key == "signals" || member.key == "axes" ||
                         member.key == "interlocks" || member.key == "faults" || member.key == "hazards";
    if (!by_name || own->value.kind != Node::Kind::object || member.value.kind != Node::Kind::object) continue;
    for (const auto& named : member.value.members)
      if (own->value.find(named.key) == nullptr) own->value.members.push_back(named);
  }
}

// Reads every file: the bench file, the one that it is like if there is one, and what it includes. False when a file is
// no JSON at all.
bool read_files(const Sources& sources, const Catalogue& catalogue, written::Bench& file,
                std::vector<written::Contents>& parts, Problems& problems) {
  const auto root = parse_json(sources.front().second, sources.front().first, problems);
  bool readable = root != nullptr;
  std::size_t next = 1;
  const auto* like = root ? root->find("like") : nullptr;
  if (like != nullptr && like->kind == Node::Kind::text && sources.size() > 1) {
    const auto model = parse_json(sources[1].second, sources[1].first, problems);
    if (!model) return false;
    complete(*root, *model, problems);
    next = 2;
  }
  if (root) {
    written::bench_fields(catalogue).read(*root, file, problems);
    parts.push_back(file);
    file.at = root->at;
    if (root->kind != Node::Kind::object) readable = false;
  }
  for (std::size_t i = next; i < sources.size(); ++i) {
    if (const auto part = parse_json(sources[i].second, sources[i].first, problems))
      written::included_fields(catalogue).read(*part, parts.emplace_back(), problems);
    else
      readable = false;
  }
  return readable;
}

}  // namespace

std::unique_ptr<Bench> parse_bench(const Sources& sources, const Catalogue& catalogue, Problems& problems) {
  const auto before = problems.count();
  written::Bench file;
  std::vector<written::Contents> parts;
  if (!read_files(sources, catalogue, file, parts, problems)) return nullptr;

  Draft draft{problems};
  draft.bench.name = file.name;
  draft.bench.description = file.description;
  draft.bench.file = sources.front().first;
  resolve_loop_rate(file, draft);
  resolve_devices(parts, catalogue, draft);
  resolve_unit(file, catalogue, draft);
  if (draft.bench.devices.empty() && draft.devices_known) {
    problems.add(file.at, "the bench has no device", "at least one in 'devices', here or in an included file");
    draft.devices_known = false;
  }
  resolve_signals(parts, draft);
  if (draft.bench.signals.empty() && draft.signals_known) {
    problems.add(file.at, "the bench has no signal", "at least one in 'signals', here or in an included file");
    draft.signals_known = false;
  }
  resolve_skews(parts, draft);
  resolve_axes(file, draft);
  resolve_interlocks(file, draft);
  resolve_arming(file, draft);
  resolve_safe_state(file, draft);
  resolve_vehicle(file, draft);
  resolve_load(file, draft);
  resolve_faults(file, draft);
  resolve_hazards(file, draft);
  resolve_fixture(file, draft);
  if (problems.count() != before) return nullptr;
  return std::make_unique<Bench>(std::move(draft.bench));
}

}  // namespace trackrod
