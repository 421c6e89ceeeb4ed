#include "Cli/CommandLine.h"
#include "Desk/Call.h"
#include "Session/TextFile.h"
#include "Shell/Completion.h"
#include "Shell/ManPage.h"

#include <CLI/CLI.hpp>

#include <cstdio>
#include <filesystem>
#include <utility>

/// Writes man pages and completions of both programs into the folder that is named.
int main(int count, char** words) {
    using namespace spillwright;
    if (count != 2) {
        std::fputs("usage: spillwright-shell-files FOLDER\n", stderr);
        return 2;
    }
    desk::Call call;
    CLI::App window;
    desk::addOptions(window, call);
    const std::pair<shell::Program, std::vector<shell::Section>> programs[] = {
        {shell::programOf(*commandTable()), shell::commandLineSections()},
        {shell::programOf(window), shell::windowSections()}};
    for (const auto& [program, sections] : programs) {
        const std::filesystem::path to = words[1];
        const auto& name = program.whole.name;
        const std::pair<std::string, std::string> files[] = {
            {name + ".1", shell::manPage(program, sections, SPILLWRIGHT_VERSION, SPILLWRIGHT_DATE)},
            {name + ".bash", shell::bashCompletion(program)},
            {"_" + name, shell::zshCompletion(program)},
            {name + ".fish", shell::fishCompletion(program)}};
        for (const auto& [file, text] : files)
            if (const auto written = writeTextFile(to / file, text); !written) {
                std::fprintf(stderr, "spillwright-shell-files: %s\n", written.fault().line().c_str());
                return 1;
            }
    }
}
