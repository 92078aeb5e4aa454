#!/usr/bin/env bash
# SPDX-License-Identifier: GPL-3.0-or-later
# Makes the Debian packages, installs them into a root of their own, uses what they bring, and removes them again.
# Usage: packages_test.sh BUILD WORKDIR IMAGE FILES (IMAGE: a disc of FILES whole files)
set -euo pipefail

build=$1 work=$2 image=$3 files=$4
root=$work/root
fail() { echo "FAILED: $1"; exit 1; }

rm -rf "$work"
mkdir -p "$root/var/lib/dpkg/info" "$root/var/lib/dpkg/updates"
touch "$root/var/lib/dpkg/status" "$root/var/lib/dpkg/available"
(cd "$work" && cpack --config "$build/CPackConfig.cmake" -B "$work" >cpack.log 2>&1) || { cat "$work/cpack.log"; fail cpack; }
packages=("$work"/*.deb)
[[ ${#packages[@]} -eq 3 ]] || fail "three packages are expected: ${packages[*]}"

# What they need can be had: said by apt, which does nothing here.
if [[ -n $(find /var/lib/apt/lists -name '*Packages*' -print -quit 2>/dev/null) ]]; then
  apt-get install --simulate --no-install-recommends -qq "${packages[@]}" >"$work/apt.log" 2>&1 ||
    { cat "$work/apt.log"; fail "apt can't fulfil what the packages depend on"; }
else
  echo "apt has no lists here: dependencies were not checked"
fi

# Into a root of its own; what they depend on is not in there, but in the system that runs this.
# Their scripts only run ldconfig, which here does nothing.
mkdir "$work/bin"
printf '#!/bin/sh\n' >"$work/bin/ldconfig"
chmod +x "$work/bin/ldconfig"
dpkg=(env PATH="$work/bin:$PATH" dpkg --root="$root" --force-depends --force-not-root --force-bad-path
  --force-script-chrootless --log="$work/dpkg.log")
"${dpkg[@]}" --install "${packages[@]}" >"$work/install.log" 2>&1 || { cat "$work/install.log"; fail install; }

lacuna=$root/usr/bin/lacuna
"$lacuna" --version | grep -qE '^lacuna [0-9]+\.[0-9]+\.[0-9]+$' || fail version
[[ $("$lacuna" files "$image" --format ndjson | grep -c '"state":"whole"') -eq $files ]] || fail files
"$lacuna" pull "$image" --to "$work/pulled" >/dev/null || fail pull
"$lacuna" verify "$work/pulled" >/dev/null || fail verify
for command in $("$lacuna" --help | sed -n '/^Subcommands:/,/^$/s/^  \([a-z]*\) .*/\1/p'); do
  zcat "$root/usr/share/man/man1/lacuna-$command.1.gz" | grep -q '^\.TH LACUNA' || fail "manual page of $command"
done
for file in man/man1/lacuna.1.gz bash-completion/completions/lacuna zsh/vendor-completions/_lacuna \
  fish/vendor_completions.d/lacuna.fish; do
  [[ -s $root/usr/share/$file ]] || fail "$file"
done

# The library and its Python package.
library=$(dirname "$(find "$root/usr/lib" -name 'liblacuna.so')")
[[ -n $library ]] || fail "no shared library"
LD_LIBRARY_PATH=$library PYTHONPATH=$root/usr/lib/python3/dist-packages /usr/bin/python3 -c '
import lacuna, sys
with lacuna.open_disc(sys.argv[1]) as disc:
    print(sum(f.state == lacuna.FileState.WHOLE for f in disc.files()))' "$image" >"$work/python.log" 2>&1 ||
  { cat "$work/python.log"; fail "Python package"; }
[[ $(<"$work/python.log") -eq $files ]] || fail "Python package: $(<"$work/python.log")"

# Nothing is left.
"${dpkg[@]}" --purge lacuna liblacuna-dev python3-lacuna >"$work/remove.log" 2>&1 || { cat "$work/remove.log"; fail remove; }
left=$(find "$root/usr" -type f -not -name '*.pyc' 2>/dev/null || true)
[[ -z $left ]] || fail "left behind: $left"
echo "packages: ok (${packages[*]##*/})"
