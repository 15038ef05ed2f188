#include <cstdio>

#include "fixtures/plant/truth.hpp"
#include "harness/cli/commands.hpp"
#include "harness/cli/load.hpp"
#include "harness/recording/description.hpp"
#include "harness/recording/spans_file.hpp"
#include "harness/signoff/sign_off_file.hpp"

namespace trackrod {

int schema_command(const SchemaOptions& options) {
  const auto text = options.of == "bench"      ? bench_schema(catalogue())
                    : options.of == "plan"     ? plan_schema(catalogue())
                    : options.of == "import"   ? import_schema()
                    : options.of == "spans"    ? spans_schema()
                    : options.of == "sign-off" ? sign_off_schema()
                                               : truth_schema();
  std::fputs(text.c_str(), stdout);
  return all_pass;
}

}  // namespace trackrod
