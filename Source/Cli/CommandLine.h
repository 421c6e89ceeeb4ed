#pragma once

#include <filesystem>
#include <iosfwd>
#include <memory>
#include <stop_token>
#include <string>
#include <vector>

namespace CLI {
class App;
}

namespace spillwright {

/// The commands and options that runCommandLine understands, for man pages and completions. What a value is stands in
/// its type name: FILE, FOLDER, FILE.csv, MS, ...
std::shared_ptr<const CLI::App> commandTable();

/// Runs one command as `spillwright-cli` does, results to `out`, everything else to `err`.
/// Spectra of recordings are kept in the folder `cache`, and found there again; empty: they are not kept.
/// Returns the exit status: 0 done, 1 the input is at fault, 2 the words of the call are off.
int runCommandLine(const std::vector<std::string>& arguments, std::ostream& out, std::ostream& err,
                   const std::filesystem::path& cache = {}, bool progressOnTerminal = false, std::stop_token stop = {});

} // namespace spillwright
