#pragma once
// What a bench file says about an instrument that speaks IEEE 488.2 / SCPI-1999: kind "scpi".

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/protocol/scpi_block.hpp"
#include "harness/base/catalogue.hpp"
#include "harness/base/fields.hpp"

namespace trackrod {

// How a setting is led by a list that the instrument runs by itself; headers after SCPI-1999, volume 2 (from memory).
struct ScpiList {
  int points{0};  // that it takes
  Duration shortest{std::chrono::milliseconds{1}}, longest{std::chrono::seconds{10}};
  Located<std::string> levels{"LIST:VOLT", {}}, dwells{"LIST:DWEL", {}}, count{"LIST:COUN 1", {}};
  Located<std::string> on{"VOLT:MODE LIST", {}}, off{"VOLT:MODE FIX", {}}, start{"INIT", {}}, abort{"ABOR", {}};
};

// A value that is set, and read back where the instrument can tell it.
struct ScpiSetting {
  Located<std::string> write;                     // "VOLT {}"
  std::optional<Located<std::string>> read_back;  // "VOLT?"
  std::optional<double> tolerance;                // default: one step of the last digit sent
  int digits{4};                                  // sent behind the decimal point
  std::optional<Located<ScpiList>> list{};        // it can run one

  double step() const;
};

// Channels of a relay box, as SCPI-1999 says under ROUTe: closed (1) and opened (0) together; or several ways, of which
// at most one is closed: the first by 1, the second by 2, ..., none by 0.
struct ScpiRelay {
  std::optional<Located<std::string>> channels;  // "101,103:105", without "(@" and ")"; or else
  std::vector<Located<std::string>> ways;        // such a list each
  Located<std::string> close{"ROUT:CLOS", {}}, open{"ROUT:OPEN", {}}, query{"ROUT:CLOS?", {}};

  std::vector<Located<std::string>> each_way() const;
  // The channels of all ways but that one, counted from 1; of all for 0.
  std::string channels_but(std::size_t way) const;
};

// A message about channels: "ROUT:CLOS (@101)".
std::string scpi_route(const Located<std::string>& header, const std::string& channels);

// A value that is asked for again and again.
struct ScpiReading {
  Located<std::string> query;  // "MEAS:VOLT?"
  Duration every{};
  std::optional<BlockItem> block;  // when the answer is a block of numbers
};

struct ScpiSettings {
  std::optional<Located<std::string>> identify;  // must stand in the answer to *IDN?
  std::vector<std::pair<Name, ScpiSetting>> settings;
  std::vector<std::pair<Name, ScpiRelay>> relays;
  std::vector<std::pair<Name, ScpiReading>> readings;
  Located<std::string> error_query{"SYST:ERR?", {}};
  Duration timeout{std::chrono::milliseconds{200}};
  std::string line_end{"\n"};
  // Sent before the line end that closes a half-sent line, so that the line is refused and not taken for a whole one.
  Located<std::string> cut_off{",@!", {}};
};

const Fields<ScpiSettings>& scpi_fields();
// First the settings, then the relays, then the readings, each in the order of the file; problems with their texts and
// names.
std::vector<FieldInfo> check_scpi(const ScpiSettings& settings, Problems& problems);

}  // namespace trackrod
