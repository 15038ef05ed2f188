#include "harness/signoff/sign_off_file.hpp"

namespace trackrod {
namespace {

const Fields<WrittenWaiver>& waiver_fields() {
  static const auto fields =
      Fields<WrittenWaiver>{"a waiver", "A person's decision to accept cells of the matrix as they are"}
          .need("fault", &WrittenWaiver::fault, located(text()), "the row of the matrix")
          .need("points", &WrittenWaiver::points, located(texts()), "the operating point, or a list of them")
          .need("reason", &WrittenWaiver::reason, text(), "why it may be accepted, in a sentence")
          .need("by", &WrittenWaiver::by, text(), "who decides it")
          .need("date", &WrittenWaiver::date, day(), "when; it is in force from this day on")
          .need("expires", &WrittenWaiver::expires, located(day()), "last day on which it is in force");
  return fields;
}

const Fields<WrittenRepeat>& repeat_fields() {
  static const auto fields =
      Fields<WrittenRepeat>{"a repeat", "Why a run was made again"}
          .need("run", &WrittenRepeat::run, located(text()), "identifier of the later run")
          .need("reason", &WrittenRepeat::reason,
                choice<RepeatReason>({{"bench fault", RepeatReason::bench_fault},
                                      {"wrong set-up", RepeatReason::wrong_set_up},
                                      {"unit repaired", RepeatReason::unit_repaired},
                                      {"planned", RepeatReason::planned}}),
                "planned: earlier attempts count with it; else they are set aside in the cells that it tried")
          .need("by", &WrittenRepeat::by, text(), "who says so")
          .need("date", &WrittenRepeat::date, day(), "when")
          .may("note", &WrittenRepeat::note, text(), "what was found or done");
  return fields;
}

const Fields<SignOffFile>& sign_off_fields() {
  static const auto fields =
      Fields<SignOffFile>{"a sign-off file", "What people decide about a sign-off matrix"}
          .may("waivers", &SignOffFile::waivers, list(located(object(waiver_fields))),
               "cells that are accepted as they are")
          .may("repeats", &SignOffFile::repeats, list(object(repeat_fields)), "why runs were made again");
  return fields;
}

}  // namespace

std::string repeat_reason_name(RepeatReason reason) {
  switch (reason) {
    case RepeatReason::bench_fault:
      return "bench fault";
    case RepeatReason::wrong_set_up:
      return "wrong set-up";
    case RepeatReason::unit_repaired:
      return "unit repaired";
    case RepeatReason::planned:
      return "planned";
  }
  return "planned";
}

SignOffFile parse_sign_off_file(const std::string& text, const std::string& file, Problems& problems) {
  SignOffFile out;
  const auto root = parse_json(text, file, problems);
  if (!root || !sign_off_fields().read(*root, out, problems)) return out;
  for (const auto& [w, at] : out.waivers)
    if (w.expires.value < w.date)
      problems.add(w.expires.at, "found \"" + w.expires.value + "\", which is before its date",
                   "a day from " + w.date + " on");
  return out;
}

std::string sign_off_schema() {
  SchemaBook book;
  const auto root = sign_off_fields().schema(book);
  return book.document("trackrod sign-off file", root);
}

}  // namespace trackrod
