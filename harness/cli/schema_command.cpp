#include <cstdio>

#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"

namespace trackrod {

int schema_command(const SchemaOptions& options) {
  std::fputs((options.of == "bench" ? bench_schema(catalogue()) : plan_schema(catalogue())).c_str(), stdout);
  return all_pass;
}

}  // namespace trackrod
