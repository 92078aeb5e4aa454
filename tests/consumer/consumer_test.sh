#!/usr/bin/env bash
# SPDX-License-Identifier: GPL-3.0-or-later
# Installs the library, static and shared, and builds tests/consumer against each by find_package and by pkg-config; runs
# what was built on an image. So are the C example of the docs, also by the C compiler and pkg-config alone, and the Python
# one. With Lacuna as a subdirectory tests/consumer is compiled; linked and run only when
# LACUNA_THOROUGH is set, since that builds the library once more.
# Usage: consumer_test.sh BUILD WORKDIR IMAGE FILES MUSEUM (BUILD: where both forms of the library are built already; FILES:
# how many whole files the image holds; MUSEUM: where fixtures/author-museum wrote).
set -euo pipefail

source=$(cd "$(dirname "${BASH_SOURCE[0]}")/../.." && pwd)
build=$1 work=$2 image=$3 files=$4 museum=$5
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

check_example() { # NAME COMMAND...: runs an example of the docs
  local name=$1
  shift
  "$@" "$museum/museum.iso" "$museum/museum.map" >"$work/$name.out" 2>&1 &&
    diff "$source/docs/examples/expected/list_files" "$work/$name.out" || { cat "$work/$name.out"; echo "FAILED: $name"; exit 1; }
  echo "$name: ok"
}

install_static() { cmake --install "$build" --prefix "$work/installed-static"; }
install_shared() {
  local component
  for component in shared python; do
    cmake --install "$build" --prefix "$work/installed-shared" --component "$component" || return
  done
}

if [[ -n ${LACUNA_THOROUGH:-} ]]; then
  check subdirectory -DLACUNA_FROM=subdirectory -DLACUNA_PRECOMPILE=ON
else
  log=$work/subdirectory.log
  cmake -S "$source/tests/consumer" -B "$work/subdirectory" -G Ninja -DLACUNA_FROM=subdirectory >"$log" 2>&1 &&
    cmake --build "$work/subdirectory" --target CMakeFiles/consumer.dir/main.cpp.o >>"$log" 2>&1 ||
    { tail -n 40 "$log"; echo "FAILED: subdirectory"; exit 1; }
  echo "subdirectory: compiles (LACUNA_THOROUGH=1 links and runs it)"
fi
for kind in static shared; do
  prefix=$work/installed-$kind
  "install_$kind" >"$work/install-$kind.log" 2>&1 ||
    { tail -n 40 "$work/install-$kind.log"; echo "FAILED: install $kind"; exit 1; }

  check "package-$kind" -DLACUNA_FROM=package -DCMAKE_PREFIX_PATH="$prefix"
  check_example "package-c-$kind" "$work/package-$kind/c_consumer"
  pc=$(dirname "$(find "$prefix" -name lacuna.pc)")
  export PKG_CONFIG_PATH=$pc LD_LIBRARY_PATH=${pc%/pkgconfig}
  check "pkgconfig-$kind" -DLACUNA_FROM=pkgconfig \
    "-DLACUNA_PKG_CONFIG_ARGS=$([[ $kind == static ]] && echo --static || true)"
  read -ra flags < <(pkg-config --cflags --libs $([[ $kind == static ]] && echo --static || true) lacuna)
  cc -std=c99 "$source/docs/examples/list_files.c" -o "$work/cc-$kind" "${flags[@]}"
  check_example "cc-$kind" "$work/cc-$kind"
  unset PKG_CONFIG_PATH LD_LIBRARY_PATH
done
check_example python env PYTHONDONTWRITEBYTECODE=1 PYTHONPATH="$work/installed-shared/lib/python3/dist-packages" \
  /usr/bin/python3 "$source/docs/examples/list_files.py"
