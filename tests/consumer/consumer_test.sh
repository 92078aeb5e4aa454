#!/usr/bin/env bash
# SPDX-License-Identifier: GPL-3.0-or-later
# Installs the library static and shared, builds tests/consumer against each by find_package and by pkg-config, and
# once with Lacuna as a subdirectory; runs what was built on an image. Usage: consumer_test.sh WORKDIR IMAGE FILES
# (FILES: how many whole files the image holds).
set -euo pipefail

source=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
work=$1 image=$2 files=$3
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

for kind in static shared; do
  prefix=$work/installed-$kind
  {
    cmake -S "$source" -B "$work/lacuna-$kind" -G Ninja -DCMAKE_BUILD_TYPE=Debug -DLACUNA_BUILD_TESTS=OFF \
      -DLACUNA_BUILD_TOOLS=OFF -DCMAKE_INSTALL_PREFIX="$prefix" \
      -DBUILD_SHARED_LIBS="$([[ $kind == shared ]] && echo ON || echo OFF)"
    cmake --build "$work/lacuna-$kind"
    cmake --install "$work/lacuna-$kind"
  } >"$work/install-$kind.log" 2>&1 || { tail -n 40 "$work/install-$kind.log"; echo "FAILED: install $kind"; exit 1; }

  check "package-$kind" -DLACUNA_FROM=package -DCMAKE_PREFIX_PATH="$prefix"
  pc=$(dirname "$(find "$prefix" -name lacuna.pc)")
  export PKG_CONFIG_PATH=$pc LD_LIBRARY_PATH=${pc%/pkgconfig}
  check "pkgconfig-$kind" -DLACUNA_FROM=pkgconfig \
    "-DLACUNA_PKG_CONFIG_ARGS=$([[ $kind == static ]] && echo --static || true)"
  unset PKG_CONFIG_PATH LD_LIBRARY_PATH
done
check subdirectory -DLACUNA_FROM=subdirectory
