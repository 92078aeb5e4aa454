// SPDX-License-Identifier: GPL-3.0-or-later
#include "report/basis.h"

namespace lacuna::report {

std::string basis_statement(Basis basis, const ReportContext& context) {
  if (basis != Basis::kAssumed) return {};
  std::string text =
      "Basis: assumed. Nobody said which sectors of this image were read without error, so\n"
      "\"whole\" means only that nothing in the image speaks against it. If whatever read the\n"
      "disc kept a record of bad sectors, give it with --map FILE.\n";
  if (!context.looked_inside) {
    text +=
        "Contents were not looked at (--no-look-inside): a file whose unreadable sectors were\n"
        "filled up while imaging is called whole here.\n";
  }
  return text;
}

}  // namespace lacuna::report
