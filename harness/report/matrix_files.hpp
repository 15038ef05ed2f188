#pragma once
// The sign-off matrix for other programs. Pure: same matrix, same bytes.

#include <string>

#include "harness/report/matrix.hpp"

namespace trackrod {

// RFC 4180: a head, then one line a cell, with those that the plan leaves out. What does not exist is an empty field.
// `report`: name of the page that the evidence is in, for the links.
std::string write_matrix_csv(const SignOff& sign_off, const std::string& report);

// JUnit XML: a suite for each matrix, a test case for each cell. A fail is a "failure"; what the plan makes and has no
// verdict is an "error"; a cell that is waived or left out is "skipped", and says which.
std::string write_matrix_junit(const SignOff& sign_off, const std::string& report);

}  // namespace trackrod
