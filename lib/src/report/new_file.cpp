// SPDX-License-Identifier: GPL-3.0-or-later
#include <cerrno>
#include <optional>

#include "lacuna/report.h"
#include "salvage/output_folder.h"

namespace lacuna {

struct NewFile::Impl {
  std::filesystem::path path;
  std::string name;
  PartFile file;
  int error = 0;
};

NewFile::NewFile(std::unique_ptr<Impl> impl) : impl_(std::move(impl)) {}
NewFile::NewFile(NewFile&&) noexcept = default;
NewFile::~NewFile() = default;

Result<NewFile> NewFile::open(const std::filesystem::path& path) {
  auto impl = std::make_unique<Impl>();
  impl->path = path;
  impl->name = path.filename().string();
  if (!is_inside_path(impl->name)) return cannot_write(path, EINVAL);
  const Result<Directory> folder = open_folder(path.has_parent_path() ? path.parent_path() : ".", FolderUse::kWrite);
  if (!folder) return folder.error();
  std::optional<struct stat> there;
  int error = look_at((*folder)->get(), impl->name, there);
  if (error == 0 && there) error = EEXIST;
  if (error == 0) error = impl->file.create(*folder, "." + impl->name + ".lacuna-part");
  if (error != 0) return cannot_write(path, error);
  return NewFile(std::move(impl));
}

void NewFile::write(std::string_view bytes) {
  if (impl_->error == 0) impl_->error = write_fully(impl_->file.fd(), bytes);
}

bool NewFile::failed() const noexcept { return impl_->error != 0; }

Result<Done> NewFile::publish() {
  if (impl_->error == 0) impl_->error = impl_->file.publish(impl_->name, false);
  if (impl_->error != 0) return cannot_write(impl_->path, impl_->error);
  return Done{};
}

}  // namespace lacuna
