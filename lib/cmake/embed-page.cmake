# SPDX-License-Identifier: GPL-3.0-or-later
# The sources of the report's page as a C++ file: cmake -DFROM=lib/src/report/page -DTO=page_text.cpp -DSCRIPTS=a.js,b.js
# -P embed-page.cmake. The page splits at the line {{discs}}; the scripts become one, in their order, in one scope.
cmake_policy(VERSION 3.25)

function(lacuna_literal text result)
  string(FIND "${text}" ")lacuna\"" inside)
  if(NOT inside EQUAL -1)
    message(FATAL_ERROR "a source of the page holds the end of the literal that it becomes")
  endif()
  set(${result} "R\"lacuna(${text})lacuna\"" PARENT_SCOPE)
endfunction()

file(READ ${FROM}/page.html page)
string(FIND "${page}" "{{discs}}" discs)
math(EXPR behind "${discs} + 9")
string(SUBSTRING "${page}" 0 ${discs} head)
string(SUBSTRING "${page}" ${behind} -1 foot)
file(READ ${FROM}/page.css style)

string(REPLACE "," ";" names "${SCRIPTS}")
set(pieces "")
foreach(name IN LISTS names)
  file(READ ${FROM}/${name} script)
  lacuna_literal("${script}" literal)
  string(APPEND pieces "\n    ${literal},")
endforeach()
lacuna_literal("${head}" head)
lacuna_literal("${foot}" foot)
lacuna_literal("${style}" style)

file(WRITE ${TO} "// Made by lib/cmake/embed-page.cmake.
#include \"report/page_text.h\"

#include <initializer_list>
#include <string>

namespace lacuna::report {

std::string_view page_head() { return ${head}; }
std::string_view page_foot() { return ${foot}; }
std::string_view page_style() { return ${style}; }
std::string_view page_script() {
  static const std::string script = [] {
    std::string all = \"\\\"use strict\\\";\\n(() => {\\n\";
    for (const std::string_view piece : std::initializer_list<std::string_view>{${pieces}}) all += piece;
    return all + \"})();\\n\";
  }();
  return script;
}

}  // namespace lacuna::report
")
