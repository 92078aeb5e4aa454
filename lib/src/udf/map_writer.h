// SPDX-License-Identifier: GPL-3.0-or-later
// MapWriter: partition maps (ECMA-167 3/10.7) for a logical volume descriptor that is lost.
#pragma once

#include <algorithm>
#include <cstdint>
#include <string_view>
#include <vector>

namespace lacuna::udf {

/// Makes maps in the order of their reference numbers, as recorded (UDF 2.2.8 to 2.2.10).
class MapWriter {
 public:
  void physical(std::uint16_t number) {
    start(1, 6);
    put16(2, 1);
    put16(4, number);
  }
  void virtual_map() { type_2("*UDF Virtual Partition"); }
  void metadata(std::uint32_t main, std::uint32_t mirror, std::uint32_t bitmap) {
    type_2("*UDF Metadata Partition");
    put32(40, main);
    put32(44, mirror);
    put32(48, bitmap);
    put32(52, 1);
    put16(56, 1);
    map_[58] = 1;  // the mirror's entry is read for itself: it may have data of its own
    all_.back() = map_;
  }
  void sparable(std::uint16_t packet_blocks, std::uint32_t table_bytes, const std::vector<std::uint32_t>& sectors) {
    type_2("*UDF Sparable Partition");
    put16(40, packet_blocks);
    map_[42] = static_cast<std::uint8_t>(std::min<std::size_t>(sectors.size(), 4));
    put32(44, table_bytes);
    for (std::size_t i = 0; i < std::min<std::size_t>(sectors.size(), 4); ++i) put32(48 + 4 * i, sectors[i]);
    all_.back() = map_;
  }

  std::uint32_t count() const { return static_cast<std::uint32_t>(all_.size()); }
  std::vector<std::uint8_t> bytes() const {
    std::vector<std::uint8_t> out;
    for (const auto& m : all_) out.insert(out.end(), m.begin(), m.end());
    return out;
  }

 private:
  void start(std::uint8_t type, std::uint8_t length) {
    map_.assign(length, 0);
    map_[0] = type;
    map_[1] = length;
    all_.push_back(map_);
  }
  void type_2(std::string_view id) {
    start(2, 64);
    std::copy(id.begin(), id.end(), map_.begin() + 5);
    put16(36, 1);
    all_.back() = map_;
  }
  void put16(std::size_t at, std::uint16_t v) {
    map_[at] = static_cast<std::uint8_t>(v & 0xff);
    map_[at + 1] = static_cast<std::uint8_t>(v >> 8);
    all_.back() = map_;
  }
  void put32(std::size_t at, std::uint32_t v) {
    put16(at, static_cast<std::uint16_t>(v & 0xffff));
    put16(at + 2, static_cast<std::uint16_t>(v >> 16));
  }

  std::vector<std::uint8_t> map_;
  std::vector<std::vector<std::uint8_t>> all_;
};

}  // namespace lacuna::udf
