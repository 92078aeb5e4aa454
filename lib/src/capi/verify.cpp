// SPDX-License-Identifier: GPL-3.0-or-later
#include <string>

#include "capi/callbacks.h"
#include "capi/structs.h"
#include "capi/text.h"
#include "lacuna/c/pull.h"
#include "lacuna/pull.h"

using namespace lacuna::capi;

lacuna_code lacuna_verify(lacuna_string folder, const lacuna_verify_options* options, lacuna_verify_info* info,
                          lacuna_error** error) {
  return guarded(error, [&] {
    need(info != nullptr, "lacuna_verify: info is NULL");
    static_cast<void>(struct_bytes_of(*info, "lacuna_verify_info"));  // before anything is done
    const lacuna_verify_options o = options_from(options, "lacuna_verify_options");
    ProgressBridge progress(o.progress, o.progress_user);
    const lacuna::VerifyReport report =
        progress.must(lacuna::verify(path_from(folder, "lacuna_verify: folder"), o.threads, progress.callback()));
    for (const lacuna::VerifyProblem& p : report.problems) {
      if (o.problem == nullptr) break;
      call(o.problem, o.problem_user, literal_to_c(lacuna::to_string(p.kind)), to_c(p.path), to_c(p.text));
    }
    lacuna_verify_info out{};
    out.files_right = report.files_right;
    out.bytes_right = report.bytes_right;
    out.problem_count = report.problems.size();
    out.not_whole = report.not_whole;
    give_struct(info, out, "lacuna_verify_info");
  });
}
