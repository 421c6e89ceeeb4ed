file(REMOVE_RECURSE "${FOLDER}")
execute_process(COMMAND "${CLI}" demo OUTPUT_VARIABLE list COMMAND_ERROR_IS_FATAL ANY)
string(REGEX MATCH "^[^ ]+" name "${list}")
execute_process(COMMAND "${CLI}" demo "${name}" --to "${FOLDER}" COMMAND_ERROR_IS_FATAL ANY)
