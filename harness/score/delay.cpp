// The score `delay`: how far the output lags behind the input in any motion. docs/scores/delay.md.

#include "harness/score/scores.hpp"

namespace trackrod {
namespace {

enum class Order { first, second };
enum class PlayTerm { fitted, none };
enum class Correlate { rate, level };

struct DelaySettings {
  Order order{Order::second};
  PlayTerm play{PlayTerm::fitted};
  Correlate correlate{Correlate::rate};
  Duration longest{from_seconds(0.2)};
};

const Fields<DelaySettings>& delay_fields() {
  static const auto fields =
      Fields<DelaySettings>{"score",
                            "Lag of the output behind the input: by correlation, and by a fitted model that tells dead "
                            "time from slowness"}
          .may("order", &DelaySettings::order, choice<Order>({{"first", Order::first}, {"second", Order::second}}),
               "of the fitted model behind its dead time; \"second\" when not given")
          .may("play", &DelaySettings::play, choice<PlayTerm>({{"fitted", PlayTerm::fitted}, {"none", PlayTerm::none}}),
               "whether lost motion at reversal is part of the model; \"fitted\" when not given")
          .may("correlate", &DelaySettings::correlate,
               choice<Correlate>({{"rate", Correlate::rate}, {"level", Correlate::level}}),
               "what is correlated: rates (also right for single steps) or levels (for motion to and fro); \"rate\" "
               "when not given")
          .may("longest", &DelaySettings::longest, duration(from_seconds(0.001), from_seconds(5.0)),
               "the longest lag that is looked for; 200 ms when not given");
  return fields;
}

}  // namespace

ScoreKind delay_score() {
  ScoreKind score;
  score.entry.settings = kind("delay", delay_fields);
  score.entry.roles = {{"input", "what is moved, such as the bench's angle sensor at the hand wheel"},
                       {"output", "what answers, such as the bench's angle sensor at the road wheel"}};
  score.entry.findings = {
      {"correlation_lag", "ms",
       "shift at which output and input resemble each other most; depends on the spectrum of the motion"},
      {"dead_time", "ms", "pure delay of the fitted model"},
      {"ramp_lag", "ms", "lag of the fitted model on a steady ramp: dead time and slowness together"},
      {"time_constant", "ms", "of the fitted first-order model"},
      {"natural_frequency", "rad/s", "of the fitted second-order model, undamped"},
      {"damping", "1", "damping ratio of the fitted second-order model"},
      {"gain", "output/input", "output over input of the fitted model, signed"},
      {"lost_motion", "output", "width of the fitted play term, whatever its cause: play, friction or dead band"},
      {"residual", "output", "root mean square of what the fitted model leaves unexplained"}};
  return score;
}

}  // namespace trackrod
