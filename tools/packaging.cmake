# SPDX-License-Identifier: GPL-3.0-or-later
# Debian packages, by `cpack` in the build folder: the command, the library with what building on it needs, and the
# Python package.
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME lacuna)
set(CPACK_PACKAGE_CONTACT "The Lacuna project <lacuna@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "${PROJECT_DESCRIPTION}")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL command)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_SECTION utils)

set(CPACK_DEBIAN_COMMAND_PACKAGE_NAME lacuna)
set(CPACK_COMPONENT_COMMAND_DESCRIPTION "Reads images of optical discs (ISO 9660, UDF, raw CD sectors) that have holes,
rebuilds the directory tree, says file by file what can still be had whole,
and gets it out with checksums.")
set(CPACK_DEBIAN_COMMAND_PACKAGE_RECOMMENDS fuse3)

if(LACUNA_SHARED_TOO)
  list(APPEND CPACK_COMPONENTS_ALL shared python)
  set(CPACK_DEBIAN_SHARED_PACKAGE_NAME liblacuna-dev)
  set(CPACK_DEBIAN_SHARED_PACKAGE_SECTION libdevel)
  set(CPACK_COMPONENT_SHARED_DESCRIPTION "The shared library of Lacuna, its C and C++ headers, and its CMake and pkg-config files.")
  set(CPACK_DEBIAN_PYTHON_PACKAGE_NAME python3-lacuna)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_SECTION python)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_SHLIBDEPS OFF)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_ARCHITECTURE all)
  set(CPACK_DEBIAN_PYTHON_PACKAGE_DEPENDS "python3 (>= 3.11), liblacuna-dev (= ${PROJECT_VERSION})")
  set(CPACK_COMPONENT_PYTHON_DESCRIPTION "The Python interface of Lacuna.")
endif()
include(CPack)
