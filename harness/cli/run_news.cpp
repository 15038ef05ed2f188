#include "harness/cli/run_news.hpp"

namespace trackrod {

RunNews::RunNews(const std::string& program, const RunFolder& folder, const std::shared_ptr<spdlog::logger>& log,
                 const Console& console)
    : run_{folder.path()}, notifier_{program, [log, &console](const std::string& trouble) {
                                       log->warn(trouble);
                                       console.complain(trouble);
                                     }} {}

void RunNews::on_event(const Event& event, const std::string& doing) {
  supervisor_.say(doing);
  const bool unconfirmed = event.kind == EventKind::safe_done && event.a == 0;
  if (event.kind == EventKind::tripped || event.kind == EventKind::loop_died || unconfirmed)
    tell(Notice::Kind::tripped, doing, {});
}

void RunNews::ended(const std::string& how, const std::string& verdicts) {
  const auto sentence = "the run ended: " + how + (verdicts.empty() ? "" : "; " + verdicts);
  supervisor_.say(sentence);
  tell(Notice::Kind::ended, sentence, verdicts);
}

void RunNews::tell(Notice::Kind kind, const std::string& sentence, const std::string& verdicts) {
  notifier_.notify({kind, run_, sentence, verdicts});
}

}  // namespace trackrod
