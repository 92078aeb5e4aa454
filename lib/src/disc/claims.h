// SPDX-License-Identifier: GPL-3.0-or-later
// Which sectors files and structures claim, and which nothing does.
#pragma once

#include <span>

#include "lacuna/disc.h"

namespace lacuna {

/// The LBAs of [first, end) whose bytes can be had, or, with `with_bytes` false, the others; by what is known now.
RangeSet sectors_of_image(const Image& image, Range lbas, bool with_bytes);

/// Sectors that hold contents of files and nothing else. `beyond_doubt`: only of files that a readable tree names, and
/// against whose place nothing speaks.
RangeSet sectors_of_files(const Tree& tree, bool beyond_doubt);

/// Readable sectors that neither a file nor a structure touches. The system area (ECMA-119 6.2.1, ECMA-167 2/8.2.1) is
/// not among them: it belongs to whatever starts a machine.
RangeSet unclaimed_sectors(const Image& image, const Tree& tree, std::span<const Structure> structures);

/// Takes those out that hold nothing but zeros; reads them all.
RangeSet without_blank(const Image& image, const RangeSet& lbas);

/// Takes stretches out that hold nothing but structures which a scan has met. Of an image that is stored as a file,
/// structures are a part like any other.
RangeSet without_structures(const RangeSet& lbas, const std::optional<ScanFacts>& scan);

}  // namespace lacuna
