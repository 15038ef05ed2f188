// profile: from point to point in straight lines.

#include "harness/plan/drafting.hpp"

namespace trackrod {
namespace {

struct ProfilePoint {
  Located<Duration> at;
  Located<Quantity> value;
};
struct Profile : DriveKeys {
  std::vector<ProfilePoint> points;
};

const Fields<ProfilePoint>& point_fields() {
  static const auto fields =
      Fields<ProfilePoint>{"a point of a profile", "Where the signal is at a time"}
          .need("at", &ProfilePoint::at, located(duration(shortest_time, longest_time)), "time from the step's start")
          .need("value", &ProfilePoint::value, any_quantity(), "value that is reached then");
  return fields;
}

const Fields<Profile>& profile_fields() {
  static const auto fields =
      driving(Fields<Profile>{"a profile",
                              "Goes in straight lines from where it is through points in time; refused where a line is "
                              "beyond the limits"}
                  .need("points", &Profile::points, list(object(point_fields), 1, 10000),
                        "the points, each later than the one before"));
  return fields;
}

std::optional<Movement> move_profile(const Profile& profile, Drafting& draft) {
  const auto drive = draft.drive(profile);
  if (!drive) return {};
  Motion motion{drive->start};
  Duration last{};
  for (const auto& point : profile.points) {
    if (point.at.value <= last) {
      draft.problems().add(point.at.at, "found " + in_words(seconds(point.at.value), "s"),
                           "later than " + in_words(seconds(last), "s") + ", the point before");
      return {};
    }
    const auto value = draft.target(point.value, drive->signal);
    if (!value) return {};
    Piece piece;
    piece.length = seconds(point.at.value - last);
    piece.c0 = motion.end;
    piece.c1 = (*value - motion.end) / piece.length;
    Motion line{motion.end};
    line.append(piece, *value);
    if (!draft.keeps(line, drive->signal, {drive->limits.slew}, point.value.at)) return {};
    motion.append(piece, *value);
    last = point.at.value;
  }
  if (!draft.keeps(motion, drive->signal, drive->limits, profile.points.front().value.at)) return {};
  const double length = motion.seconds();
  return Movement{{{drive->signal, std::move(motion)}}, length};
}

}  // namespace

StimulusKind profile_stimulus() { return stimulus("profile", profile_fields, move_profile); }

}  // namespace trackrod
