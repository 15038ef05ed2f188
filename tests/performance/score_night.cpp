#include <chrono>
#include <cmath>
#include <cstdio>
#include <ctime>

#include "harness/capture/journal_capture.hpp"
#include "tests/performance/figures.hpp"
#include "tests/performance/night_plan.hpp"

namespace trackrod::performance {
namespace {

using namespace trackrod::test;

const std::vector<std::string> steps{"left_slow", "right_slow", "left_fast", "right_fast"};

struct Cost {
  double took{0}, processor{0};  // s; of all processors together
  double memory_mb{0};
  std::string out;
};

Cost cost_of(Process& program) {
  const auto start = std::chrono::steady_clock::now();
  const int status = program.wait(std::chrono::hours{2});
  Cost cost{std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(),
            program.processor_seconds(), static_cast<double>(program.most_memory()) / 1024.0, program.out()};
  demand(status == 0 || status == 4, "it ended with " + std::to_string(status) + ": " + program.err());
  return cost;
}

double processor_time() {
  timespec t{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return static_cast<double>(t.tv_sec) + 1e-9 * static_cast<double>(t.tv_nsec);
}

// Reads every frame of the journal, checks it, and unpacks every stamp, value and tick: one thread, one pass.
Cost unpack(const std::string& journal, const std::vector<SignalInfo>& signals) {
  const auto start = std::chrono::steady_clock::now();
  const auto before = processor_time();
  auto reader = JournalReader::open(journal);
  demand(reader.has_value(), "the journal does not open");
  BlockReader block{signals};
  double sum = 0.0;  // so that nothing is left out as unused
  const BlockVisitor all{[&](const SampleColumn& column) { sum += column.value.back(); },
                         [&](auto ticks) { sum += static_cast<double>(ticks.back().late_ns); }};
  while (const auto frame = reader->next())
    if (frame->header.kind == FrameKind::block)
      demand(block.visit(frame->payload, all).has_value(), "a block does not unpack");
  demand(sum != 1.0, "no sum");
  return {std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count(), processor_time() - before, 0,
          ""};
}

// Both must have done the same work: the greatest difference of what both say.
struct Difference {
  double interval{0}, delay{0}, settling{0};  // ms
  double uncertainty{0}, end{0};              // of what the step's findings give, of the standard uncertainty
  int findings{0};
};

Difference between(const nlohmann::json& ours, const nlohmann::json& peer) {
  Difference d;
  const auto at_least = [](double& greatest, double a, double b) { greatest = std::max(greatest, std::abs(a - b)); };
  for (const auto& f : ours.at("findings")) {
    if (f.at("value").is_null()) continue;
    const auto name = f.at("name").get<std::string>();
    const double value = f.at("value");
    if (name == "bus.interval") {
      at_least(d.interval, value, peer.at("bus").at(f.at("signals").at(0).get<std::string>()).at("interval"));
    } else if (name.rfind("step.", 0) == 0) {
      const auto& other = peer.at("steps").at(f.at("step").get<std::string>()).at(name.substr(5));
      if (name.rfind("step.delay", 0) == 0) at_least(d.delay, value, other.at("value"));
      if (name == "step.settling_time") at_least(d.settling, value, other.at("value"));
      const double u = f.at("standard_uncertainty");
      at_least(d.uncertainty, 1.0, other.at("standard_uncertainty").get<double>() / u);
      for (const int end : {0, 1})
        at_least(d.end, f.at("interval").at(end).get<double>() / u, other.at("interval").at(end).get<double>() / u);
      ++d.findings;
    }
  }
  return d;
}

}  // namespace

void score_night(const Wish& wish) {
  DemoRig rig;
  const auto criteria = nlohmann::json::array(
      {{{"score", "step"}, {"steps", steps}, {"signals", {{"input", "hand.angle"}, {"output", "road.angle"}}}},
       {{"score", "bus"}}});
  rig.write("night.json", night_plan(wish.hours, criteria));
  const auto rehearsed = rig.rehearse_plan(rig.file("night.json"));
  demand(rehearsed->wait(std::chrono::hours{2}) != -1, "the rehearsal did not end");
  const auto run = rig.run_folder();
  const auto capture = JournalCapture::open(run + "/journal");
  demand(capture.has_value(), "the journal does not open");

  std::vector<double> ours_s, peer_s, read_s, as_fast, as_fast_processor, of_reading, of_reading_processor;
  double ours_mb = 0.0, peer_mb = 0.0;
  Difference same;
  for (int round = 0; round < wish.scorings; ++round) {
    const auto read = unpack(run + "/journal", (*capture)->signals());
    const auto program = rig.start({"--json", "score", run}, "score");
    const auto ours = cost_of(*program);
    std::vector<std::string> script{"/usr/bin/python3", DemoRig::source("tests/performance/night.py"),
                                    run + "/capture.h5"};
    script.insert(script.end(), steps.begin(), steps.end());
    Process python{script, rig.file("python")};
    const auto peer = cost_of(python);
    same = between(nlohmann::json::parse(ours.out), nlohmann::json::parse(peer.out));
    demand(same.findings > 0, "the two have no finding in common");
    ours_s.push_back(ours.took);
    peer_s.push_back(peer.took);
    read_s.push_back(read.took);
    as_fast.push_back(peer.took / ours.took);
    as_fast_processor.push_back(peer.processor / ours.processor);
    of_reading.push_back(ours.took / read.took);
    of_reading_processor.push_back(ours.processor / read.processor);
    ours_mb = std::max(ours_mb, ours.memory_mb);
    peer_mb = std::max(peer_mb, peer.memory_mb);
  }

  std::printf(
      "scores of %d h, %.0f million samples: intervals of every measured signal, timing of the loop, and every step "
      "with "
      "its uncertainties; medians of %d rounds in turn, the machine may be shared\n"
      "  trackrod score %.2f s, at most %.0f MB; NumPy, SciPy and h5py %.2f s, at most %.0f MB: x %.2f as fast, in "
      "time of "
      "processors x %.2f\n"
      "  just reading and unpacking the journal, by one thread, %.2f s: x %.2f of that, in time of processors x %.2f\n"
      "  the two differ by at most %.4f ms in an interval, %.1e ms in a delay, %.1e ms in a settling time; by %.2f %% "
      "in a "
      "standard uncertainty, and by %.2f of it in an end of an interval (%d findings)\n",
      wish.hours, static_cast<double>((*capture)->sample_count()) / 1e6, wish.scorings, median(ours_s), ours_mb,
      median(peer_s), peer_mb, median(as_fast), median(as_fast_processor), median(read_s), median(of_reading),
      median(of_reading_processor), same.interval, same.delay, same.settling, 100.0 * same.uncertainty, same.end,
      same.findings);
}

}  // namespace trackrod::performance
