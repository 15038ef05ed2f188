#pragma once
// Judges from outside the project: Python's own readers of JSON, XML and HTML.

#include <sys/wait.h>
#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>

namespace trackrod::judges {

struct Answer {
  bool good{false};
  std::string said;  // stdout and stderr
};

// Runs the Python `program` with `text` as a file whose path is its first argument.
inline Answer python(const std::string& program, const std::string& text) {
  char folder[] = "/tmp/trackrod_judge_XXXXXX";
  if (!::mkdtemp(folder)) return {false, "no folder for the judge"};
  const std::string place{folder}, script = place + "/judge.py", file = place + "/text";
  std::ofstream{script} << program;
  std::ofstream{file, std::ios::binary} << text;
  Answer answer;
  if (FILE* pipe = ::popen(("/usr/bin/python3 " + script + " " + file + " 2>&1").c_str(), "r")) {
    char part[4096];
    for (std::size_t n; (n = std::fread(part, 1, sizeof part, pipe)) > 0;) answer.said.append(part, n);
    const int status = ::pclose(pipe);
    answer.good = WIFEXITED(status) && WEXITSTATUS(status) == 0;
  }
  std::remove(script.c_str());
  std::remove(file.c_str());
  ::rmdir(folder);
  return answer;
}

// xml.etree takes the text for well-formed XML.
inline Answer xml(const std::string& text) {
  return python(
      "import sys, xml.etree.ElementTree as tree\ntree.fromstring(open(sys.argv[1], encoding='utf-8').read())\n", text);
}

// Every tag that html.parser sees open is closed in its turn; prints the names of all tags.
inline Answer html(const std::string& text) {
  return python(R"py(
import sys
from html.parser import HTMLParser
void = {'meta'}
class Balance(HTMLParser):
    def __init__(self):
        super().__init__()
        self.open, self.names = [], set()
    def handle_starttag(self, tag, attrs):
        self.names.add(tag)
        if tag not in void:
            self.open.append(tag)
    def handle_startendtag(self, tag, attrs):
        self.names.add(tag)
    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            sys.exit('unbalanced: </%s> at %s' % (tag, self.getpos()))
page = Balance()
page.feed(open(sys.argv[1], encoding='utf-8').read())
page.close()
if page.open:
    sys.exit('never closed: %s' % page.open)
print(' '.join(sorted(page.names)))
)py",
                text);
}

}  // namespace trackrod::judges
