#pragma once
// Errors carry a kind, on which the caller decides, and a sentence, which the technician reads.

#include <string>
#include <system_error>
#include <tl/expected.hpp>
#include <utility>

namespace trackrod {

enum class Fault {
  bad_input,     // a file or an argument is wrong: nothing was started
  link_lost,     // a port or socket is gone
  timed_out,     // an answer did not come in time
  bad_frame,     // bytes that do not decode
  refused,       // a device or the system said no
  out_of_range,  // a value beyond what is allowed
  storage,       // a file could not be written or read
  internal       // the harness itself is at fault
};

struct Error {
  Fault fault{Fault::internal};
  std::string context;   // what the technician reads: where, what was found, what is allowed, what to try
  std::error_code os{};  // set only when the system said so

  // Puts the place in front: "bench 'demo.json': device 'hand': ...".
  Error within(const std::string& where) && {
    context = where + ": " + context;
    return std::move(*this);
  }
};

template <class T>
using Result = tl::expected<T, Error>;

inline tl::unexpected<Error> fail(Fault fault, std::string context) {
  return tl::unexpected<Error>{Error{fault, std::move(context), {}}};
}
// As above, with errno's reason added to the sentence.
inline tl::unexpected<Error> fail_os(Fault fault, std::string context, int error_number) {
  const std::error_code os{error_number, std::generic_category()};
  return tl::unexpected<Error>{Error{fault, std::move(context) + ": " + os.message(), os}};
}

}  // namespace trackrod
