#pragma once
// Comma-separated values (RFC 4180). Pure.

#include <string>
#include <vector>

namespace trackrod {

// One record, with the line break that ends it. Fields are quoted where they must be.
std::string csv_line(const std::vector<std::string>& fields);

}  // namespace trackrod
