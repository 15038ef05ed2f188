#include "drivers/protocol/frames_settings.hpp"

namespace trackrod {
namespace {

using namespace std::chrono_literals;

constexpr int most_bits = 53;  // whole numbers up to 2^53 are exact as double

Shape<ByteOrder> order() { return choice<ByteOrder>({{"little", ByteOrder::little}, {"big", ByteOrder::big}}); }

template <class T>
Fields<T> bits_fields(const std::string& what, const std::string& doc, int most = most_bits) {
  return Fields<T>{what, doc}
      .need("start", &T::start, located(integer<int>(0, longest_frame * 8 - 1)),
            "bit it starts at: the least significant bit in little order, the most significant one in big order")
      .need("bits", &T::bits, located(integer<int>(1, most)), "how many bits it has")
      .may("order", &T::order, maybe(order()), "byte order, when it is not the frame's");
}

const Fields<BitsSettings>& counter_fields() {
  static const auto fields =
      bits_fields<BitsSettings>("counter", "Alive counter: one up with every frame, then from 0 again");
  return fields;
}

const Fields<StampSettings>& stamp_fields() {
  static const auto fields =
      bits_fields<StampSettings>("stamp", "The device's own clock when it took the values, as a count of ticks")
          .need("tick", &StampSettings::tick, quantity("s", 1e-9, 1.0), "time of one count, as \"1 us\"");
  return fields;
}

const Fields<MatchSettings>& match_fields() {
  static const auto fields =
      bits_fields<MatchSettings>("match", "Bits that tell this frame from the others")
          .need("value", &MatchSettings::value, located(whole_number(0, (std::int64_t{1} << most_bits) - 1)),
                "what these bits hold");
  return fields;
}

const Fields<FieldSettings>& field_fields() {
  static const auto fields =
      bits_fields<FieldSettings>("frame_field", "A value in a frame: value = scale * count + offset", 64)
          .may("signed", &FieldSettings::is_signed, flag(), "two's complement (default: not signed)")
          .may("float", &FieldSettings::is_float, flag(), "IEEE 754 of 32 or 64 bits (default: a whole number)")
          .may("when", &FieldSettings::when, maybe(located(whole_number(0, (std::int64_t{1} << most_bits) - 1))),
               "the field is there only with this value of the frame's selector")
          .may("scale", &FieldSettings::scale, located(number(-1e12, 1e12)), "value of one count (default 1)")
          .may("offset", &FieldSettings::offset, number(-1e12, 1e12), "value of count 0 (default 0)");
  return fields;
}

const Fields<BitsSettings>& selector_fields() {
  static const auto fields =
      bits_fields<BitsSettings>("selector", "Bits that tell which of the fields with 'when' are in a frame");
  return fields;
}

const Fields<ChecksumSettings>& checksum_fields() {
  static const auto fields =
      Fields<ChecksumSettings>{"checksum", "Checksum of a frame"}
          .need("kind", &ChecksumSettings::kind, located(text()),
                "name in the public CRC catalogue, as \"CRC-16/IBM-3740\"")
          .need("at", &ChecksumSettings::at, located(integer<int>(0, longest_frame - 1)), "first byte of the checksum")
          .may("order", &ChecksumSettings::order, maybe(order()), "order of its bytes, when it is not the frame's")
          .may("from", &ChecksumSettings::from, located(integer<int>(0, longest_frame - 1)),
               "first byte it covers (default 0)")
          .may("to", &ChecksumSettings::to, maybe(integer<int>(1, longest_frame)),
               "first byte it does not cover (default: 'at')");
  return fields;
}

Fields<FrameSettings> frame_fields(const std::string& what, const std::string& doc) {
  return Fields<FrameSettings>{what, doc}
      .need("length", &FrameSettings::length, located(integer<int>(1, longest_frame)), "bytes")
      .may("order", &FrameSettings::order, order(), "byte order of everything in it (default: little)")
      .may("match", &FrameSettings::match, maybe(object(match_fields)), "what tells this frame from the others")
      .may("can", &FrameSettings::can, maybe(object(can_place_fields)), "on a CAN bus: the CAN frame it travels in")
      .may("counter", &FrameSettings::counter, maybe(object(counter_fields)), "alive counter")
      .may("checksum", &FrameSettings::checksum, maybe(object(checksum_fields)), "checksum")
      .may("e2e", &FrameSettings::e2e, maybe(object(e2e_fields)), "end-to-end protection")
      .may("selector", &FrameSettings::selector, maybe(object(selector_fields)), "what tells which fields are in it")
      .may("fields", &FrameSettings::fields, dictionary(object(field_fields)), "the values in it, by name");
}

constexpr auto phase_doc =
    "where in the cycle, counted from the bench clock's zero; default: where the first value is set";
constexpr auto on_change_doc = "also sent when a value in it changes, but not sooner than this after the last one";

const Fields<FrameSettings>& received_fields() {
  static const auto fields =
      frame_fields("received_frame", "A frame that the device sends; the simulated bench keeps to these times")
          .may("stamp", &FrameSettings::stamp, maybe(object(stamp_fields)),
               "when the device took the values, by its own clock (default: when they came)")
          .may("cycle", &FrameSettings::cycle, maybe(located(duration(100us, 10s))),
               "how often the device sends it (default: 1 ms, with 'on_change' not at all)")
          .may("phase", &FrameSettings::phase, maybe(located(duration(0us, 10s))), phase_doc)
          .may("on_change", &FrameSettings::on_change, maybe(located(duration(100us, 10s))), on_change_doc);
  return fields;
}

const Fields<FrameSettings>& sent_fields() {
  static const auto fields =
      frame_fields("sent_frame", "A frame that the bench sends")
          .may("cycle", &FrameSettings::cycle, maybe(located(duration(100us, 10s))),
               "how often it is sent; may be left out with 'on_change'")
          .may("phase", &FrameSettings::phase, maybe(located(duration(0us, 10s))), phase_doc)
          .may("on_change", &FrameSettings::on_change, maybe(located(duration(100us, 10s))), on_change_doc);
  return fields;
}

}  // namespace

const Fields<FramesSettings>& frames_fields() {
  static const auto fields =
      Fields<FramesSettings>{"frames", "Frames of packed bits, sent in cycles"}
          .may("stream", &FramesSettings::stream, flag(),
               "true: the link carries bytes without bounds (serial); false: datagrams (default)")
          .may("together", &FramesSettings::together, located(flag()),
               "true: frames that are due at the same time are sent in one datagram (default: each in its own)")
          .may("framing", &FramesSettings::framing, maybe(located(framing_shape())),
               "how messages are bounded in a stream (default: by match and checksum)")
          .may("receive", &FramesSettings::receive, dictionary(object(received_fields)),
               "frames that the device sends, by name")
          .may("send", &FramesSettings::send, dictionary(object(sent_fields)), "frames that the bench sends, by name");
  return fields;
}

}  // namespace trackrod
