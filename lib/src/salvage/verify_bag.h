// SPDX-License-Identifier: GPL-3.0-or-later
// Verifying the tag files of a bag, against what the manifests of Lacuna say and against the folder.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "lacuna/pull.h"
#include "salvage/output_folder.h"

namespace lacuna {

/// Files of the payload and their SHA-256.
using PayloadSums = std::unordered_map<std::string_view, const std::string*>;
using AddProblem = std::function<void(VerifyProblem::Kind, std::string_view path, std::string text)>;

/// What RFC 8493 (clause 3) asks of a complete and valid bag, but for the bytes of the payload: bagit.txt, every file
/// of the payload in its manifest once and with its checksum, the tag files as their manifest says, Payload-Oxum.
/// `manifests` are Lacuna's own, which are tag files.
void verify_bag(const Directory& root, const PayloadSums& payload, const std::vector<std::string>& manifests,
                const AddProblem& add);

}  // namespace lacuna
