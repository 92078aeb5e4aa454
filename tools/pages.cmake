# SPDX-License-Identifier: GPL-3.0-or-later
# Writes manual pages and completions into a folder as a system keeps them, by asking the command for them:
#   cmake -D LACUNA=COMMAND -D TO=FOLDER -P pages.cmake
function(write_to file) # ARGUMENT...: what the command prints for these
  execute_process(COMMAND ${LACUNA} ${ARGN} OUTPUT_FILE ${file} COMMAND_ERROR_IS_FATAL ANY)
endfunction()

file(MAKE_DIRECTORY ${TO}/man/man1 ${TO}/bash-completion/completions ${TO}/zsh/vendor-completions
  ${TO}/fish/vendor_completions.d)
write_to(${TO}/bash-completion/completions/lacuna completion bash)
write_to(${TO}/zsh/vendor-completions/_lacuna completion zsh)
write_to(${TO}/fish/vendor_completions.d/lacuna.fish completion fish)

file(GLOB old ${TO}/man/man1/*)
if(old)
  file(REMOVE ${old})
endif()
set(main ${TO}/man/man1/lacuna.1)
write_to(${main} manual)
file(READ ${main} text)
string(REGEX MATCHALL "lacuna\\\\-[a-z]+" names "${text}")
foreach(name ${names})
  string(REGEX REPLACE ".*-" "" name ${name})
  write_to(${TO}/man/man1/lacuna-${name}.1 manual ${name})
endforeach()
file(GLOB pages ${TO}/man/man1/*.1)
execute_process(COMMAND gzip -9nf ${pages} COMMAND_ERROR_IS_FATAL ANY)  # As Debian has them.
