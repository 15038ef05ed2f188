#include "harness/capture/archive_layout.hpp"

namespace trackrod::archive {

using hdf5::Column;
using hdf5::Handle;

SignalColumns SignalColumns::create(const Handle& group) {
  return {Column::create(group, "t_ns", no_time),
          Column::create(group, "value", std::numeric_limits<double>::quiet_NaN()),
          Column::create(group, "stamp_by", no_source), Column::create(group, "stamp_uncertainty_ns", no_number)};
}

SignalColumns SignalColumns::open(const Handle& group) {
  return {Column::open(group, "t_ns"), Column::open(group, "value"), Column::open(group, "stamp_by"),
          Column::open(group, "stamp_uncertainty_ns")};
}

std::vector<Handle> open_signals(const Handle& file, const std::vector<SignalInfo>& signals) {
  const auto parent = hdf5::open_group(file, "signals");
  std::vector<Handle> groups(signals.size());
  for (const auto& name : hdf5::group_names(parent)) {
    auto group = hdf5::open_group(parent, name);
    const auto index = static_cast<std::size_t>(hdf5::read_number_attribute(group, "index"));
    if (index < groups.size()) groups[index] = std::move(group);
  }
  for (std::size_t i = 0; i < groups.size(); ++i)
    if (groups[i].get() < 0) throw hdf5::Hdf5Error{"signal '" + signals[i].name + "' is missing"};
  return groups;
}

TickColumns TickColumns::create(const Handle& group) {
  return {Column::create(group, "due_ns", no_time), Column::create(group, "number", no_number),
          Column::create(group, "late_ns", no_number), Column::create(group, "work_ns", no_number),
          Column::create(group, "input_age_ns", no_number)};
}

TickColumns TickColumns::open(const Handle& group) {
  return {Column::open(group, "due_ns"), Column::open(group, "number"), Column::open(group, "late_ns"),
          Column::open(group, "work_ns"), Column::open(group, "input_age_ns")};
}

void SampleRows::add(const Sample& sample) {
  t.push_back(sample.when.time_since_epoch().count());
  value.push_back(sample.value);
  by.push_back(static_cast<std::uint8_t>(sample.by));
  uncertainty.push_back(sample.uncertainty_ns);
}

void SampleRows::append_to(SignalColumns& columns) {
  columns.t.append(t);
  columns.value.append(value);
  columns.by.append(by);
  columns.uncertainty.append(uncertainty);
  t.clear();
  value.clear();
  by.clear();
  uncertainty.clear();
}

void SampleRows::read_from(const SignalColumns& columns, hsize_t from, hsize_t count) {
  t = columns.t.read<std::int64_t>(from, count);
  value = columns.value.read<double>(from, count);
  by = columns.by.read<std::uint8_t>(from, count);
  uncertainty = columns.uncertainty.read<std::uint32_t>(from, count);
}

Sample SampleRows::at(std::size_t row, SignalIndex signal) const {
  return {BenchTime{Duration{t[row]}}, value[row], uncertainty[row], signal, static_cast<StampedBy>(by[row])};
}

void TickRows::add(const Tick& tick) {
  due.push_back(tick.due.time_since_epoch().count());
  number.push_back(tick.number);
  late.push_back(tick.late_ns);
  work.push_back(tick.work_ns);
  input_age.push_back(tick.input_age_ns);
}

void TickRows::append_to(TickColumns& columns) {
  columns.due.append(due);
  columns.number.append(number);
  columns.late.append(late);
  columns.work.append(work);
  columns.input_age.append(input_age);
  due.clear();
  number.clear();
  late.clear();
  work.clear();
  input_age.clear();
}

void TickRows::read_from(const TickColumns& columns, hsize_t from, hsize_t count) {
  due = columns.due.read<std::int64_t>(from, count);
  number = columns.number.read<std::uint32_t>(from, count);
  late = columns.late.read<std::uint32_t>(from, count);
  work = columns.work.read<std::uint32_t>(from, count);
  input_age = columns.input_age.read<std::uint32_t>(from, count);
}

Tick TickRows::at(std::size_t row) const {
  return {BenchTime{Duration{due[row]}}, number[row], late[row], work[row], input_age[row]};
}

}  // namespace trackrod::archive
