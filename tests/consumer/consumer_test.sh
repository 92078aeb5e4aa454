#!/usr/bin/env bash
# SPDX-License-Identifier: GPL-3.0-or-later
# Builds tests/consumer with Lacuna as a subdirectory; installs the library, static and shared, and builds it against each
# by find_package and by pkg-config; runs what was built on an image. Usage: consumer_test.sh BUILD WORKDIR IMAGE FILES
# (BUILD: where the static library is built already; FILES: how many whole files the image holds).
set -euo pipefail

source=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
build=$1 work=$2 image=$3 files=$4
rm -rf "$work"
mkdir -p "$work"

check() { # NAME CMAKE-ARGUMENT...
  local name=$1
  shift
  cmake -S "$source/tests/consumer" -B "$work/$name" -G Ninja "$@" >"$work/$name.log" 2>&1 &&
    cmake --build "$work/$name" >>"$work/$name.log" 2>&1 || { tail -n 40 "$work/$name.log"; echo "FAILED: $name"; exit 1; }
  local said
  said=$("$work/$name/consumer" "$image")
  grep -qx "whole $files" <<<"$said" || { echo "FAILED: $name said: $said, expected: whole $files"; exit 1; }
  echo "$name: ok"
}

install_static() { cmake --install "$build" --prefix "$work/installed-static"; }
# The shared library is the one that the subdirectory check built: to build it a third time would show nothing more.
install_shared() { cmake --install "$work/subdirectory" --prefix "$work/installed-shared"; }

check subdirectory -DLACUNA_FROM=subdirectory -DBUILD_SHARED_LIBS=ON -DLACUNA_INSTALL=ON -DLACUNA_PRECOMPILE=ON \
  -DCMAKE_BUILD_TYPE=None
for kind in static shared; do
  prefix=$work/installed-$kind
  "install_$kind" >"$work/install-$kind.log" 2>&1 ||
    { tail -n 40 "$work/install-$kind.log"; echo "FAILED: install $kind"; exit 1; }

  check "package-$kind" -DLACUNA_FROM=package -DCMAKE_PREFIX_PATH="$prefix"
  pc=$(dirname "$(find "$prefix" -name lacuna.pc)")
  export PKG_CONFIG_PATH=$pc LD_LIBRARY_PATH=${pc%/pkgconfig}
  check "pkgconfig-$kind" -DLACUNA_FROM=pkgconfig \
    "-DLACUNA_PKG_CONFIG_ARGS=$([[ $kind == static ]] && echo --static || true)"
  unset PKG_CONFIG_PATH LD_LIBRARY_PATH
done
