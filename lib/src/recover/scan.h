// SPDX-License-Identifier: GPL-3.0-or-later
// The scan: one pass over the readable sectors of an image for what is left of its file systems.
#pragma once

#include "iso9660/remains.h"
#include "lacuna/image.h"
#include "lacuna/progress.h"
#include "lacuna/result.h"
#include "udf/remains.h"

namespace lacuna::recover {

struct Remains {
  iso9660::Remains iso9660;
  udf::Remains udf;
  std::uint64_t looked_at_bytes = 0;
};

struct ScanRequest {
  RangeSet skip_lbas;    ///< Not looked at: the contents of files.
  unsigned threads = 0;  ///< 0: as many as the machine has.
  ProgressCallback progress;
};

/// Each readable sector is read once, in ascending order, by all threads side by side; memory does not grow with the
/// image but with what is found. Errors: kCancelled.
Result<Remains> scan(const Image& image, const ScanRequest& request);

}  // namespace lacuna::recover
