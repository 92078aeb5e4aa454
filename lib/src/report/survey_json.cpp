// SPDX-License-Identifier: GPL-3.0-or-later
// "lacuna/survey/1": the facts of the survey, every finding included.
#include "report/json.h"
#include "report/survey.h"
#include "report/tracks.h"
#include "report/words.h"

namespace lacuna::report {
namespace {

/// Of the volume that is shown, also what was found of it.
void put_udf(Json& json, const Volume& v, const SurveyFacts& facts) {
  const UdfFacts& u = *v.udf;
  json.open_object("udf");
  json.name("revision");
  u.revision != 0 ? json.value(udf_revision(u.revision)) : json.null();
  json.put_text("medium", u.medium);
  json.put_text("medium_why", u.medium_why);
  json.open_array("maps");
  for (const UdfFacts::Map& m : u.maps) {
    json.open_object();
    json.put("kind", m.kind);
    json.put("partition", std::uint32_t{m.number});
    json.put("start_lba", m.start_lba);
    json.put("bytes", m.bytes);
    json.put_text("state", m.state);
    json.close_object();
  }
  json.close_array();
  if (u.table_generation) json.put("table_generation", *u.table_generation);
  json.put("closed", u.closed);
  json.put("integrity_recorded", u.integrity_recorded);
  json.put("free_bytes", u.free_bytes);
  json.put("files", u.files);
  json.put("directories", u.directories);
  if (&v == facts.udf && facts.udf_files) {
    json.put("files_found", facts.udf_files);
    json.put("directories_found", facts.udf_directories);
  }
  json.put("named_streams", u.named_streams);
  json.put("deleted_names", u.deleted_names);
  json.put_text("writer", u.writer);
  json.close_object();
}

void put_volume(Json& json, const Volume& v, const SurveyFacts& facts) {
  json.open_object();
  json.put("view", to_string(v.view));
  json.put("descriptor_lba", v.descriptor_lba);
  json.put("volume", v.volume_id);
  json.put_text("system", v.system_id);
  json.put_text("volume_set", v.volume_set_id);
  json.put_text("publisher", v.publisher_id);
  json.put_text("preparer", v.preparer_id);
  json.put_text("application", v.application_id);
  json.put_text("copyright_file", v.copyright_file);
  json.put_text("abstract_file", v.abstract_file);
  json.put_text("bibliographic_file", v.bibliographic_file);
  json.put("logical_block_bytes", v.logical_block_bytes);
  json.put("space_bytes", v.space_bytes);
  json.put("set_size", v.set_size);
  json.put("sequence_number", v.sequence_number);
  if (v.joliet_level != 0) json.put("joliet_level", static_cast<std::uint32_t>(v.joliet_level));
  json.put("xa", v.xa);
  json.put("created", v.created);
  json.put("modified", v.modified);
  json.put("expires", v.expires);
  json.put("effective", v.effective);
  if (v.udf) put_udf(json, v, facts);
  json.close_object();
}

void put_sessions(Json& json, const Disc& disc, const SurveyFacts& facts) {
  json.open_array("sessions");
  for (const Session& s : disc.sessions()) {
    json.open_object();
    json.put("number", s.number);
    json.put("start_lba", s.start_lba);
    json.put("source", to_string(s.source));
    json.put("in_tree", s.in_tree);
    json.open_array("volumes");
    for (const Volume& v : s.volumes) put_volume(json, v, facts);
    json.close_array();
    json.close_object();
  }
  json.close_array();
}

void put_hurt_structures(Json& json, const Survey& survey) {
  json.open_array("hurt_structures");
  for (const HurtStructure& h : survey.facts.hurt_structures) {
    const Structure& s = survey.disc.structures()[h.structure];
    json.open_object();
    json.put("kind", to_string(s.kind));
    json.put("view", to_string(s.view));
    json.put_text("label", s.label);
    if (s.node != kNoNode) json.put("path", survey.disc.tree().path(s.node));
    put_place(json, s.position);
    json.put("bytes", s.bytes);
    json.put("hurt_bytes", h.hurt_bytes);
    json.put("state", to_string(h.worst));
    json.close_object();
  }
  json.close_array();
}

void put_lost_directories(Json& json, const Disc& disc) {
  json.open_array("lost_directories");
  for (const LostDirectory& d : disc.lost_directories()) {
    json.open_object();
    json.put("path", d.node == kNoNode ? std::string{} : disc.tree().path(d.node));
    json.put("view", to_string(d.view));
    put_place(json, d.position);
    json.put("bytes", d.bytes);
    json.open_array("missing");
    for (const Range& r : d.missing_lbas.ranges()) {
      json.open_object();
      json.put("lba", r.first);
      json.put("sectors", r.length());
      json.close_object();
    }
    json.close_array();
    json.put("subdirectories", d.subdirectories);
    json.put("entries_elsewhere", d.entries_elsewhere);
    json.close_object();
  }
  json.close_array();
}

void put_scan(Json& json, const Survey& survey) {
  if (const auto& scan = survey.disc.scan()) {
    json.open_object("scan");
    json.put("reason", scan->reason);
    json.put("looked_at_bytes", scan->looked_at_bytes);
    json.close_object();
  }
  json.open_object("files_by_evidence");
  for (std::size_t from = 0; from < kEvidenceCount; ++from) {
    json.open_object(to_string(static_cast<Evidence>(from)));
    for (std::size_t state = 0; state < kFileStateCount; ++state) {
      json.put(to_string(static_cast<FileState>(state)), survey.facts.files_from[from][state]);
    }
    json.close_object();
  }
  json.close_object();
  json.put("orphans", survey.facts.orphans);
}

void put_unclaimed(Json& json, const SurveyFacts& facts) {
  json.open_array("unclaimed");
  for (const Unclaimed& u : facts.unclaimed) {
    json.open_object();
    json.put("lba", u.lbas.first);
    json.put("sectors", u.lbas.length());
    json.put_text("type", u.type);
    json.close_object();
  }
  json.close_array();
}

}  // namespace

void survey_as_json(const Survey& survey, Out& out) {
  const SurveyFacts& facts = survey.facts;
  Json json(out);
  json.open_object();
  json.put("schema", "lacuna/survey/1");
  put_image(json, survey.disc, survey.verdicts, survey.context);
  open_summary(json, survey.disc, survey.verdicts);
  json.put("directories", facts.directories);
  json.open_object("sectors");
  for (std::size_t i = 0; i < facts.sectors.size(); ++i) {
    json.put(to_string(static_cast<SectorState>(i)), facts.sectors[i]);
  }
  json.close_object();
  json.put("hit_ranges", facts.hit_ranges);
  json.put("idle_sectors", facts.idle_sectors);
  json.put("volume_end_lba", facts.volume_end_lba);
  json.close_object();
  json.open_array("views");
  for (const View v : facts.views) json.value(to_string(v));
  json.close_array();
  if (survey.disc.image().raw() != nullptr) put_tracks(json, survey.disc.image());
  put_sessions(json, survey.disc, facts);
  json.open_array("also_present");
  for (const std::string& other : survey.disc.also_present()) json.value(other);
  json.close_array();
  put_hurt_structures(json, survey);
  put_lost_directories(json, survey.disc);
  put_scan(json, survey);
  put_unclaimed(json, facts);
  put_findings(json, facts.findings);
  json.open_array("next");
  for (const Step& step : next_steps(survey.disc, survey.verdicts, facts, survey.context)) {
    json.open_object();
    json.put("text", step.text);
    json.put_text("command", step.command);
    json.close_object();
  }
  json.close_array();
  json.open_array("cautions");
  for (const std::string& text : cautions(facts)) json.value(text);
  json.close_array();
  json.close_object();
  out.add('\n');
}

}  // namespace lacuna::report
