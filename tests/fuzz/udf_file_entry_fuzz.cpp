// SPDX-License-Identifier: GPL-3.0-or-later
// Any bytes as an entry of an ICB, and what stands in it: allocation descriptors and extended attributes.
#include <algorithm>

#include "fuzz/promise.h"
#include "udf/decode/allocation.h"
#include "udf/decode/extended_attributes.h"
#include "udf/decode/file_entry.h"
#include "udf/decode/space.h"

namespace {

using namespace lacuna;
using namespace lacuna::udf;
using test::require;
using test::require_inside;

void check_allocation(Bytes area, AllocationForm form) {
  using Stop = AllocationReader::Stop;
  AllocationReader reader(area, form);
  std::size_t before = 0, count = 0;
  bool continued = false;
  while (const auto a = reader.next()) {
    require(!continued && a->length_bytes != 0 && a->length_bytes <= kMaxExtentBytes && a->offset == before);
    require(reader.offset() == before + descriptor_bytes(form) && reader.offset() <= area.size());
    require(a->partition.has_value() == (form != AllocationForm::kShort));
    continued = a->type == ExtentType::kContinued;
    before = reader.offset();
    ++count;
  }
  require(reader.stop() != Stop::kNone && continued == (reader.stop() == Stop::kContinued));
  require((reader.stop() == Stop::kBadForm) == (descriptor_bytes(form) == 0));
  require(count <= area.size() / kShortAdBytes);
}

void check_attributes(Bytes space) {
  if (const auto h = decode_attribute_header(space)) require(h->bytes <= space.size());
  AttributeReader reader(space);
  std::size_t before = std::min(kAttributeHeaderBytes, space.size());
  while (const auto a = reader.next()) {
    require(a->offset == before);
    before += 12 + a->data.size();
    require(before <= space.size());
    require_inside(space, {a->data});
    const int kinds = decode_file_times(*a).has_value() + decode_information_times(*a).has_value();
    require(kinds <= 1);
    if (const auto d = decode_device_specification(*a)) require_inside(a->data, {d->implementation_use});
    if (const auto u = decode_use_attribute(*a)) {
      require_inside(a->data, {u->identifier.raw, u->use});
      if (const auto v = decode_vat_extension(*u)) require_inside(u->use, {v->logical_volume_id});
    }
  }
  require(reader.stop() != AttributeReader::Stop::kNone);
  require(reader.stop() != AttributeReader::Stop::kEnd || before == space.size());
}

void check_entry(Bytes b) {
  const auto e = decode_file_entry(b);
  if (!e) return;
  require_inside(b, {e->extended_attributes, e->allocation, e->implementation.raw});
  require(e->allocation_offset <= b.size() && posix_mode(*e) <= 07777);
  if (!e->allocation.empty()) require(b.data() + e->allocation_offset == e->allocation.data());
  const bool cut = (e->problems & (entry_problem::kAttributesBeyond | entry_problem::kAllocationBeyond)) != 0;
  require(cut == (e->bytes > b.size()));
  require(cut || e->bytes == e->allocation_offset + e->allocation.size());
  if (check_tag(b, {}, e->bytes).proven()) require(!cut);
  check_allocation(e->allocation, e->icb.form());
  check_attributes(e->extended_attributes);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const Bytes input(data, std::min<std::size_t>(size, 70000));
  check_entry(input);
  if (const auto t = decode_entry_icb_tag(input)) require(input.size() >= kTagBytes + kIcbTagBytes);
  if (const auto e = decode_indirect_entry(input)) require(e->bytes <= input.size());
  if (const auto e = decode_terminal_entry(input)) require(e->bytes <= input.size());
  if (const auto e = decode_unallocated_space_entry(input)) {
    require_inside(input, {e->allocation});
    require(e->cut == (e->bytes > input.size()));
  }
  if (const auto e = decode_allocation_extent(input)) {
    require_inside(input, {e->allocation});
    require(e->cut == (e->bytes > input.size()));
  }
  for (unsigned form = 0; form < 8; ++form) check_allocation(input, static_cast<AllocationForm>(form));
  check_attributes(input);
  return 0;
}
