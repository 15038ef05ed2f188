% Reads DIR/capture.h5 with Octave's own HDF5 reader and compares it with DIR/expected.txt.
folder = argv(){end};
lines = fopen([folder "/expected.txt"]);
expected = textscan(lines, "%s %s %s %s %s");
fclose(lines);
run = load([folder "/capture.h5"]);
names = unique(expected{1});
assert(numel(names) == 4);
for i = 1:numel(names)
  rows = strcmp(expected{1}, names{i});
  group = run.signals.(strrep(names{i}, ".", "_"));
  assert(class(group.t_ns), "int64");
  % As text, so that no number passes through a double.
  assert(isequal(strsplit(strtrim(sprintf("%d\n", group.t_ns)), "\n")(:), expected{2}(rows)(:)));
  bits = reshape(sprintf("%s", num2hex(group.value(:)).'), 16, []).';
  nan = isnan(group.value(:));
  wanted = char(expected{3}(rows));
  assert(bits(!nan, :), wanted(!nan, :));
  assert(any(nan) && all(isnan(hex2num(wanted(nan, :)))));
  assert(double(group.stamp_by(:)), str2double(expected{4}(rows)));
end
assert(double(run.ticks.number(:)), (0:19999).');
assert(run.spans.cycle == 1);
