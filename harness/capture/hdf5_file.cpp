#include "harness/capture/hdf5_file.hpp"

#include <algorithm>

namespace trackrod::hdf5 {
namespace {

herr_t take_innermost(unsigned n, const H5E_error2_t* error, void* out) {
  if (n == 0 && error->desc != nullptr) *static_cast<std::string*>(out) = error->desc;
  return 0;
}

[[noreturn]] void fail_with_reason(const std::string& what) {
  std::string reason;
  H5Ewalk2(H5E_DEFAULT, H5E_WALK_UPWARD, take_innermost, &reason);
  H5Eclear2(H5E_DEFAULT);
  throw Hdf5Error{reason.empty() ? what : what + ": " + reason};
}

Handle text_type(std::size_t length, H5T_cset_t marked_as) {
  Handle type{need(H5Tcopy(H5T_C_S1), "a text type"), H5Tclose};
  need(H5Tset_size(type.get(), std::max<std::size_t>(length, 1)), "a text type");
  need(H5Tset_cset(type.get(), marked_as), "a text type");
  need(H5Tset_strpad(type.get(), H5T_STR_NULLPAD), "a text type");
  return type;
}

// The texts of datasets are UTF-8 too, but not marked so: Octave 7 refuses a whole file for the mark.
constexpr auto dataset_mark = H5T_CSET_ASCII;

Handle scalar_space() { return {need(H5Screate(H5S_SCALAR), "a scalar"), H5Sclose}; }

void write_attribute(const Handle& object, const std::string& name, hid_t type, const void* value) {
  const auto space = scalar_space();
  const Handle attribute{need(H5Acreate2(object.get(), name.c_str(), type, space.get(), H5P_DEFAULT, H5P_DEFAULT),
                              "attribute '" + name + "'"),
                         H5Aclose};
  need(H5Awrite(attribute.get(), type, value), "attribute '" + name + "'");
}

// Without the padding.
std::string trimmed(const char* text, std::size_t length) {
  while (length > 0 && text[length - 1] == '\0') --length;
  return {text, length};
}

}  // namespace

hid_t need(hid_t id, const std::string& what) {
  if (id < 0) fail_with_reason(what);
  return id;
}

void Handle::close(const std::string& what) {
  if (id_ >= 0) need(close_(std::exchange(id_, -1)), what);
}

Quiet::Quiet() {
  // Before anything else of HDF5: its clean-up at the program's end crashes on a file whose closing failed on a full
  // disk. Every handle here is closed by its owner, so there is nothing to clean up.
  static const auto no_clean_up = H5dont_atexit();
  static_cast<void>(no_clean_up);
  H5Eget_auto2(H5E_DEFAULT, &function_, &data_);
  H5Eset_auto2(H5E_DEFAULT, nullptr, nullptr);
}
Quiet::~Quiet() { H5Eset_auto2(H5E_DEFAULT, function_, data_); }

Handle create_file(const std::string& path) {
  const Handle access{need(H5Pcreate(H5P_FILE_ACCESS), "file settings"), H5Pclose};
  need(H5Pset_libver_bounds(access.get(), H5F_LIBVER_EARLIEST, H5F_LIBVER_V18), "file settings");
  return {need(H5Fcreate(path.c_str(), H5F_ACC_TRUNC, H5P_DEFAULT, access.get()), "making the file"), H5Fclose};
}

Handle open_file(const std::string& path) {
  return {need(H5Fopen(path.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT), "opening the file"), H5Fclose};
}

Handle create_group(const Handle& parent, const std::string& name) {
  return {need(H5Gcreate2(parent.get(), name.c_str(), H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT), "group '" + name + "'"),
          H5Gclose};
}

Handle open_group(const Handle& parent, const std::string& name) {
  return {need(H5Gopen2(parent.get(), name.c_str(), H5P_DEFAULT), "group '" + name + "'"), H5Gclose};
}

std::vector<std::string> group_names(const Handle& parent) {
  H5G_info_t info{};
  need(H5Gget_info(parent.get(), &info), "listing a group");
  std::vector<std::string> names;
  for (hsize_t i = 0; i < info.nlinks; ++i) {
    char name[1024];
    need(static_cast<hid_t>(
             H5Lget_name_by_idx(parent.get(), ".", H5_INDEX_NAME, H5_ITER_INC, i, name, sizeof name, H5P_DEFAULT)),
         "listing a group");
    names.emplace_back(name);
  }
  return names;
}

namespace {

// No cache of chunks: whole chunks are read and written at once, so a cache would only take a megabyte a column.
Handle uncached() {
  Handle access{need(H5Pcreate(H5P_DATASET_ACCESS), "dataset settings"), H5Pclose};
  need(H5Pset_chunk_cache(access.get(), 1, 0, 1.0), "dataset settings");
  return access;
}

}  // namespace

Column Column::create(const Handle& parent, const std::string& name, hid_t type, const void* fill, hsize_t chunk) {
  const auto what = "dataset '" + name + "'";
  const hsize_t none = 0, unlimited = H5S_UNLIMITED;
  const Handle space{need(H5Screate_simple(1, &none, &unlimited), what), H5Sclose};
  const Handle settings{need(H5Pcreate(H5P_DATASET_CREATE), what), H5Pclose};
  need(H5Pset_chunk(settings.get(), 1, &chunk), what);
  need(H5Pset_shuffle(settings.get()), what);
  need(H5Pset_deflate(settings.get(), 1), what);
  need(H5Pset_fletcher32(settings.get()), what);
  if (fill != nullptr) need(H5Pset_fill_value(settings.get(), type, fill), what);
  const auto access = uncached();
  Column column;
  column.name_ = name;
  column.dataset_ = Handle{
      need(H5Dcreate2(parent.get(), name.c_str(), type, space.get(), H5P_DEFAULT, settings.get(), access.get()), what),
      H5Dclose};
  return column;
}

Column Column::create_texts(const Handle& parent, const std::string& name, const std::vector<std::string>& texts) {
  std::size_t longest = 1;
  for (const auto& t : texts) longest = std::max(longest, t.size());
  std::string rows;
  for (const auto& t : texts) rows += t + std::string(longest - t.size(), '\0');
  const auto type = text_type(longest, dataset_mark);
  auto column = create(parent, name, type.get(), nullptr, std::clamp<hsize_t>(texts.size(), 1, chunk_rows));
  column.append(rows.data(), texts.size(), type.get());
  return column;
}

Column Column::open(const Handle& parent, const std::string& name) {
  const auto what = "dataset '" + name + "'";
  Column column;
  column.name_ = name;
  column.dataset_ = Handle{need(H5Dopen2(parent.get(), name.c_str(), uncached().get()), what), H5Dclose};
  const Handle space{need(H5Dget_space(column.dataset_.get()), what), H5Sclose};
  const auto rows = H5Sget_simple_extent_npoints(space.get());
  need(rows, what);
  column.rows_ = static_cast<hsize_t>(rows);
  return column;
}

void Column::append(const void* rows, hsize_t count, hid_t type) {
  if (count == 0) return;
  const auto what = "writing dataset '" + name_ + "'";
  const hsize_t start = rows_, size = rows_ + count;
  need(H5Dset_extent(dataset_.get(), &size), what);
  const Handle file_space{need(H5Dget_space(dataset_.get()), what), H5Sclose};
  need(H5Sselect_hyperslab(file_space.get(), H5S_SELECT_SET, &start, nullptr, &count, nullptr), what);
  const Handle memory_space{need(H5Screate_simple(1, &count, nullptr), what), H5Sclose};
  need(H5Dwrite(dataset_.get(), type, memory_space.get(), file_space.get(), H5P_DEFAULT, rows), what);
  rows_ = size;
}

void Column::read(hsize_t from, hsize_t count, void* rows, hid_t type) const {
  const auto what = "reading dataset '" + name_ + "'";
  const Handle file_space{need(H5Dget_space(dataset_.get()), what), H5Sclose};
  need(H5Sselect_hyperslab(file_space.get(), H5S_SELECT_SET, &from, nullptr, &count, nullptr), what);
  const Handle memory_space{need(H5Screate_simple(1, &count, nullptr), what), H5Sclose};
  need(H5Dread(dataset_.get(), type, memory_space.get(), file_space.get(), H5P_DEFAULT, rows), what);
}

std::vector<std::string> Column::read_texts() const {
  const Handle type{need(H5Dget_type(dataset_.get()), "dataset '" + name_ + "'"), H5Tclose};
  const auto length = H5Tget_size(type.get());
  std::string raw(length * rows_, '\0');
  if (rows_ > 0) read(0, rows_, raw.data(), type.get());
  std::vector<std::string> texts;
  for (hsize_t i = 0; i < rows_; ++i) texts.push_back(trimmed(raw.data() + i * length, length));
  return texts;
}

void write_attribute(const Handle& object, const std::string& name, const std::string& text) {
  const auto padded = text.empty() ? std::string(1, '\0') : text;
  write_attribute(object, name, text_type(padded.size(), H5T_CSET_UTF8).get(), padded.data());
}
void write_attribute(const Handle& object, const std::string& name, double value) {
  write_attribute(object, name, native<double>(), &value);
}
void write_attribute(const Handle& object, const std::string& name, std::int64_t value) {
  write_attribute(object, name, native<std::int64_t>(), &value);
}

std::string read_text_attribute(const Handle& object, const std::string& name) {
  const auto what = "attribute '" + name + "'";
  const Handle attribute{need(H5Aopen(object.get(), name.c_str(), H5P_DEFAULT), what), H5Aclose};
  const Handle type{need(H5Aget_type(attribute.get()), what), H5Tclose};
  if (H5Tget_class(type.get()) != H5T_STRING || H5Tis_variable_str(type.get()) > 0)
    throw Hdf5Error{what + " is no text"};
  std::string text(H5Tget_size(type.get()), '\0');
  need(H5Aread(attribute.get(), type.get(), text.data()), what);
  return trimmed(text.data(), text.size());
}

std::int64_t read_number_attribute(const Handle& object, const std::string& name) {
  const auto what = "attribute '" + name + "'";
  const Handle attribute{need(H5Aopen(object.get(), name.c_str(), H5P_DEFAULT), what), H5Aclose};
  std::int64_t value = 0;
  need(H5Aread(attribute.get(), native<std::int64_t>(), &value), what);
  return value;
}

void write_text(const Handle& parent, const std::string& name, const std::string& text) {
  const auto type = text_type(text.size(), dataset_mark);
  const auto space = scalar_space();
  const auto what = "dataset '" + name + "'";
  const Handle dataset{
      need(H5Dcreate2(parent.get(), name.c_str(), type.get(), space.get(), H5P_DEFAULT, H5P_DEFAULT, H5P_DEFAULT),
           what),
      H5Dclose};
  need(H5Dwrite(dataset.get(), type.get(), H5S_ALL, H5S_ALL, H5P_DEFAULT, text.data()), what);
}

std::string read_text(const Handle& parent, const std::string& name) {
  const auto what = "dataset '" + name + "'";
  const Handle dataset{need(H5Dopen2(parent.get(), name.c_str(), H5P_DEFAULT), what), H5Dclose};
  const Handle type{need(H5Dget_type(dataset.get()), what), H5Tclose};
  if (H5Tget_class(type.get()) != H5T_STRING) throw Hdf5Error{what + " is no text"};
  std::string text(H5Tget_size(type.get()), '\0');
  need(H5Dread(dataset.get(), type.get(), H5S_ALL, H5S_ALL, H5P_DEFAULT, text.data()), what);
  return trimmed(text.data(), text.size());
}

}  // namespace trackrod::hdf5
