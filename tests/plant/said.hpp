#pragma once
// What an instrument answers to a text.

#include <span>
#include <string>

#include "fixtures/simulator/scpi_instrument.hpp"

namespace trackrod::test {

inline std::string said(ScpiInstrument& instrument, const std::string& text) {
  instrument.take(std::as_bytes(std::span{text}));
  return instrument.take_answers();
}

}  // namespace trackrod::test
