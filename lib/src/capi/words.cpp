// SPDX-License-Identifier: GPL-3.0-or-later
// The vocabulary of the C interface, number by number that of the C++ one.
#include "lacuna/c/words.h"

#include "capi/text.h"
#include "lacuna/states.h"
#include "lacuna/tree.h"

namespace lacuna::capi {
namespace {

template <class Enum>
lacuna_string word(std::uint32_t number, std::uint32_t count) {
  return number < count ? literal_to_c(to_string(static_cast<Enum>(number))) : kNoText;
}

template <class Enum>
constexpr bool is(std::uint32_t number, Enum value) {
  return number == static_cast<std::uint32_t>(value);
}

constexpr std::uint32_t kBasisCount = 3, kNodeKindCount = 7;

static_assert(is(LACUNA_SECTOR_GOOD, SectorState::kGood) && is(LACUNA_SECTOR_REPAIRED, SectorState::kRepaired) &&
              is(LACUNA_SECTOR_SUSPECT, SectorState::kSuspect) && is(LACUNA_SECTOR_BAD, SectorState::kBad) &&
              is(LACUNA_SECTOR_UNREAD, SectorState::kUnread) && is(LACUNA_SECTOR_ABSENT, SectorState::kAbsent));
static_assert(is(LACUNA_FILE_WHOLE, FileState::kWhole) && is(LACUNA_FILE_DOUBTFUL, FileState::kDoubtful) &&
              is(LACUNA_FILE_DAMAGED, FileState::kDamaged) && is(LACUNA_FILE_LOST, FileState::kLost) &&
              is(LACUNA_FILE_UNLOCATED, FileState::kUnlocated));
// 0 is "all" in C.
static_assert(is(LACUNA_VIEW_ROCKRIDGE - 1, View::kRockRidge) && is(LACUNA_VIEW_UDF - 1, View::kUdf) &&
              is(LACUNA_VIEW_JOLIET - 1, View::kJoliet) && is(LACUNA_VIEW_ENHANCED - 1, View::kEnhanced) &&
              is(LACUNA_VIEW_ISO9660 - 1, View::kIso9660));
static_assert(is(LACUNA_EVIDENCE_TREE, Evidence::kTree) && is(LACUNA_EVIDENCE_VIEW, Evidence::kView) &&
              is(LACUNA_EVIDENCE_PATHTABLE, Evidence::kPathTable) && is(LACUNA_EVIDENCE_SESSION, Evidence::kSession) &&
              is(LACUNA_EVIDENCE_SCAN, Evidence::kScan) && is(LACUNA_EVIDENCE_TWIN, Evidence::kTwin));
static_assert(is(LACUNA_BASIS_EDC, Basis::kEdc) && is(LACUNA_BASIS_MAP, Basis::kMap) &&
              is(LACUNA_BASIS_ASSUMED, Basis::kAssumed));
static_assert(is(LACUNA_NODE_DIRECTORY, NodeKind::kDirectory) && is(LACUNA_NODE_FILE, NodeKind::kFile) &&
              is(LACUNA_NODE_SYMLINK, NodeKind::kSymlink) && is(LACUNA_NODE_BLOCK_DEVICE, NodeKind::kBlockDevice) &&
              is(LACUNA_NODE_CHAR_DEVICE, NodeKind::kCharDevice) && is(LACUNA_NODE_FIFO, NodeKind::kFifo) &&
              is(LACUNA_NODE_SOCKET, NodeKind::kSocket));

}  // namespace
}  // namespace lacuna::capi

using namespace lacuna::capi;

std::uint32_t lacuna_abi_version() { return LACUNA_ABI_VERSION; }
const char* lacuna_version() { return LACUNA_VERSION; }

lacuna_string lacuna_sector_state_word(std::uint32_t state) {
  return word<lacuna::SectorState>(state, lacuna::kSectorStateCount);
}
lacuna_string lacuna_file_state_word(lacuna_file_state state) {
  return word<lacuna::FileState>(state, lacuna::kFileStateCount);
}
lacuna_string lacuna_view_word(lacuna_view view) { return word<lacuna::View>(view - 1, lacuna::kViewCount); }
lacuna_string lacuna_evidence_word(lacuna_evidence evidence) {
  return word<lacuna::Evidence>(evidence, lacuna::kEvidenceCount);
}
lacuna_string lacuna_basis_word(lacuna_basis basis) { return word<lacuna::Basis>(basis, kBasisCount); }
lacuna_string lacuna_node_kind_word(lacuna_node_kind kind) { return word<lacuna::NodeKind>(kind, kNodeKindCount); }
