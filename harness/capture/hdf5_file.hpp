#pragma once
// HDF5 as the archive needs it: handles that close themselves, growing columns, attributes. Inside the archive's own
// files failures travel as Hdf5Error, whose text is HDF5's innermost reason; the public functions turn it into an
// Error.

#include <hdf5.h>

#include <cstdint>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

namespace trackrod::hdf5 {

struct Hdf5Error : std::runtime_error {
  using std::runtime_error::runtime_error;
};

// Throws Hdf5Error with `what` and HDF5's reason when `id` is negative.
hid_t need(hid_t id, const std::string& what);

class Handle {
 public:
  using Close = herr_t (*)(hid_t);
  Handle() = default;
  Handle(hid_t id, Close closer) : id_{id}, close_{closer} {}
  Handle(Handle&& other) noexcept : id_{std::exchange(other.id_, -1)}, close_{other.close_} {}
  Handle& operator=(Handle&& other) noexcept {
    std::swap(id_, other.id_);
    std::swap(close_, other.close_);
    return *this;
  }
  ~Handle() {
    if (id_ >= 0) close_(id_);
  }
  hid_t get() const { return id_; }
  // As the destructor, but a failure (a full disk shows here) is thrown.
  void close(const std::string& what);

 private:
  hid_t id_{-1};
  Close close_{nullptr};
};

// Keeps HDF5 from printing its errors while it lives.
class Quiet {
 public:
  Quiet();
  Quiet(const Quiet&) = delete;
  Quiet& operator=(const Quiet&) = delete;
  ~Quiet();

 private:
  H5E_auto2_t function_{nullptr};
  void* data_{nullptr};
};

template <class T>
hid_t native();
template <>
inline hid_t native<std::int64_t>() {
  return H5T_NATIVE_INT64;
}
template <>
inline hid_t native<std::uint64_t>() {
  return H5T_NATIVE_UINT64;
}
template <>
inline hid_t native<std::uint32_t>() {
  return H5T_NATIVE_UINT32;
}
template <>
inline hid_t native<std::uint16_t>() {
  return H5T_NATIVE_UINT16;
}
template <>
inline hid_t native<std::uint8_t>() {
  return H5T_NATIVE_UINT8;
}
template <>
inline hid_t native<double>() {
  return H5T_NATIVE_DOUBLE;
}

Handle create_file(const std::string& path);  // in the oldest format, so that every tool reads it
Handle open_file(const std::string& path);    // to read
Handle create_group(const Handle& parent, const std::string& name);
Handle open_group(const Handle& parent, const std::string& name);
std::vector<std::string> group_names(const Handle& parent);

// A one-dimensional dataset. Written: chunked, shuffled, deflated, with a checksum on each chunk.
class Column {
 public:
  static constexpr hsize_t chunk_rows = 16384;

  // `fill` is what a row reads as that was never written.
  template <class T>
  static Column create(const Handle& parent, const std::string& name, T fill) {
    return create(parent, name, native<T>(), &fill);
  }
  static Column create_texts(const Handle& parent, const std::string& name, const std::vector<std::string>& texts);
  static Column open(const Handle& parent, const std::string& name);

  // In whole chunks, but for the last time, this needs no memory beyond the rows given.
  template <class T>
  void append(const std::vector<T>& rows) {
    append(rows.data(), rows.size(), native<T>());
  }
  template <class T>
  std::vector<T> read(hsize_t from, hsize_t count) const {
    std::vector<T> rows(count);
    if (count > 0) read(from, count, rows.data(), native<T>());
    return rows;
  }
  template <class T>
  std::vector<T> read_all() const {
    return read<T>(0, rows_);
  }
  std::vector<std::string> read_texts() const;
  hsize_t rows() const { return rows_; }

 private:
  static Column create(const Handle& parent, const std::string& name, hid_t type, const void* fill,
                       hsize_t chunk = chunk_rows);
  void append(const void* rows, hsize_t count, hid_t type);
  void read(hsize_t from, hsize_t count, void* rows, hid_t type) const;
  std::string name_;
  Handle dataset_;
  hsize_t rows_{0};
};

void write_attribute(const Handle& object, const std::string& name, const std::string& text);
void write_attribute(const Handle& object, const std::string& name, double value);
void write_attribute(const Handle& object, const std::string& name, std::int64_t value);
std::string read_text_attribute(const Handle& object, const std::string& name);
std::int64_t read_number_attribute(const Handle& object, const std::string& name);
void write_text(const Handle& parent, const std::string& name,
                const std::string& text);  // a dataset that holds one text
std::string read_text(const Handle& parent, const std::string& name);

}  // namespace trackrod::hdf5
