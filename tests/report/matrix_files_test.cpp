// The sign-off matrix as CSV and JUnit XML, read by Python's own readers and xmllint.

#include "harness/report/matrix_files.hpp"

#include "tests/catch.hpp"
#include "tests/report/judges.hpp"
#include "tests/report/made_matrix.hpp"

using namespace trackrod;

namespace {

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("the CSV reads with Python's csv: one line a cell, each with as many fields as the head") {
  const auto text = write_matrix_csv(example::sign_off(), "report.html");
  const auto said = judges::python(R"py(
import csv, sys
with open(sys.argv[1], encoding='utf-8', newline='') as file:
    raw = file.read()
    file.seek(0)
    rows = list(csv.DictReader(file, strict=True, restkey='MORE', restval='LESS'))
assert raw.count('\r\n') == raw.count('\n') == 9, 'RFC 4180 ends each line with CR LF'
for r in rows:
    assert 'MORE' not in r and 'LESS' not in r.values(), r
    print('|'.join([r['fault'], r['operating_point'], r['state'], r['verdict'], r['attempt'], r['attempts'], r['time_margin'],
                    r['time_margin_unit'], r['time_margin_percent'], r['worst_margin_finding'], r['limits'], r['waiver_by'],
                    r['evidence']]))
)py",
                                   text);
  CAPTURE(said.said);
  REQUIRE(said.good);
  for (const auto* line :
       {"a_open|slow|pass|pass|1|1|60|ms|40|degraded.departure|2||report.html#cell-1-1-1\n",
        "a_open|fast|fail|fail|1|1|-30|ms|-20|degraded.warning_time|2||report.html#cell-1-1-2\n",
        "b, \"short\"|slow|waived|fail|1|1|-30|ms|-20|degraded.warning_time|2|N. N.|report.html#cell-1-2-1\n",
        "b, \"short\"|fast|open|open||0|||||||\n", "c_stuck|slow|left out|left out||0|||||||\n",
        "c_stuck|fast|fail|fail|2|3|-20|ms|", "d_late|slow|inconclusive|inconclusive|1|1|1|ms|",
        "d_late|fast|not run|not run|1|1|||||2||report.html#cell-1-4-2\n"})
    CHECK(has(said.said, line));
}

TEST_CASE("the JUnit XML reads, counts what it holds, and calls no cell a success that is none") {
  const auto text = write_matrix_junit(example::sign_off(), "report.html");
  const auto said = judges::python(R"py(
import subprocess, sys, xml.etree.ElementTree as tree
subprocess.run(['xmllint', '--noout', sys.argv[1]], check=True)
root = tree.parse(sys.argv[1]).getroot()
assert root.tag == 'testsuites' and len(root) == 1
suite = root[0]
assert all(c.tag == 'testcase' for c in suite)
for name, tag in ('tests', 'testcase'), ('failures', 'failure'), ('errors', 'error'), ('skipped', 'skipped'):
    count = str(len(list(suite.iter(tag))))
    assert suite.get(name) == root.get(name) == count, (name, count)
for case in suite:
    kinds = [c.tag for c in case if c.tag != 'system-out']
    assert len(kinds) <= 1
    print(case.get('classname'), case.get('name'), kinds[0] if kinds else 'success',
          case.find(kinds[0]).get('message') if kinds else '', sep='|')
)py",
                                   text);
  CAPTURE(said.said);
  REQUIRE(said.good);
  for (const auto* line :
       {"campaign.a_open|slow|success|\n", "campaign.a_open|fast|failure|degraded.warning_time\n",
        "campaign.b, \"short\"|slow|skipped|waived: fail: changed in the next sample (N. N., "
        "2026-11-20, until 2027-01-31)\n",
        "campaign.b, \"short\"|fast|error|not reached; the run ended: tripped\n",
        "campaign.c_stuck|slow|skipped|left out: never at this speed\n", "campaign.c_stuck|fast|failure|",
        "campaign.d_late|slow|error|", "campaign.d_late|fast|error|degraded.warning_time: the fault did not take; "})
    CHECK(has(said.said, line));
  CHECK(has(text, "attempt 1: fail, run run-1, set aside: repeated for bench fault"));
  CHECK(has(text, "evidence: report.html#cell-1-3-2"));
}
