// SPDX-License-Identifier: GPL-3.0-or-later
// The built command, and the disc that its tests use: the photo disc of an invented harbour museum, authored anew.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "support/authoring.h"
#include "support/process.h"

namespace lacuna::test {

/// Runs `lacuna` with these arguments.
ProcessResult lacuna(std::vector<std::string> arguments, const ProcessOptions& options = {});

/// `bytes` of text in which no sector is like another.
std::string prose(const std::string& title, std::size_t bytes);

/// A folder with museum.iso (Rock Ridge and Joliet), the same for all tests of a program. Tests write into folders of
/// their own.
class MuseumDisc : public ::testing::Test {
 protected:
  static void SetUpTestSuite();
  static void TearDownTestSuite();

  /// Where text stands in the image, as an LBA.
  static std::uint64_t lba_of(const std::string& text);
  /// A map beside the image; gives its path.
  static std::string map(const std::string& name, const std::string& content);
  static std::string image() { return (folder() / "museum.iso").string(); }
  static const ScratchFolder& folder() { return *folder_; }

 private:
  static inline ScratchFolder* folder_ = nullptr;
};

}  // namespace lacuna::test
