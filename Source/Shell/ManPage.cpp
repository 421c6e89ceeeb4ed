#include "Shell/ManPage.h"

#include <algorithm>
#include <cctype>

namespace spillwright::shell {

namespace {

/// Text as roff takes it: nothing of it is a request or an escape.
std::string plain(const std::string& text) {
    std::string result;
    for (const char c : text) {
        if (c == '\\')
            result += "\\e";
        else if (c == '-')
            result += "\\-";
        else
            result += c;
    }
    if (!result.empty() && (result.front() == '.' || result.front() == '\'')) result.insert(0, "\\&");
    return result;
}

std::string upper(std::string text) {
    std::transform(text.begin(), text.end(), text.begin(), [](unsigned char c) { return std::toupper(c); });
    return text;
}

std::string bold(const std::string& text) {
    return "\\fB" + plain(text) + "\\fR";
}

std::string slanted(const std::string& text) {
    return "\\fI" + plain(text) + "\\fR";
}

std::string choicesOf(const Word& word) {
    std::string list;
    for (const auto& choice : word.choices)
        list += (list.empty() ? "" : "|") + bold(choice.find(' ') == std::string::npos ? choice : '"' + choice + '"');
    return list.empty() ? slanted(word.value) : list;
}

/// As it stands in a synopsis.
std::string inCall(const Word& word) {
    std::string text = word.byPlace ? slanted(word.value) : bold(word.names.front());
    if (!word.byPlace && !word.value.empty()) text += " " + choicesOf(word);
    if (!word.required) text = "[" + text + "]";
    return text + (word.repeated ? "...\\&" : "");
}

void addSynopsis(std::string& page, const std::string& program, const Command& command) {
    page += ".HP\n" + bold(program);
    for (const auto* words : {&command.places, &command.options})
        for (const auto& word : *words)
            if (word.names.front() != "--help") page += "\n" + inCall(word);
    page += "\n";
}

void addWords(std::string& page, const Command& command) {
    for (const auto* words : {&command.places, &command.options})
        for (const auto& word : *words) {
            page += ".TP\n";
            if (word.byPlace) {
                page += slanted(word.value);
            } else {
                for (const auto& name : word.names)
                    page += (&name == &word.names.front() ? "" : ", ") + bold(name);
                if (!word.value.empty()) page += " " + choicesOf(word);
            }
            page += "\n" + plain(word.about) + "\n";
        }
}

} // namespace

std::string manPage(const Program& program, const std::vector<Section>& sections, const std::string& version,
                    const std::string& date) {
    const auto& name = program.whole.name;
    std::string page = ".TH " + upper(name) + " 1 " + date + " \"Spillwright " + version + "\" \"User Commands\"\n";
    auto about = program.whole.about;
    about.front() = static_cast<char>(std::tolower(static_cast<unsigned char>(about.front())));
    if (about.back() == '.') about.pop_back();
    page += ".SH NAME\n" + name + " \\- " + plain(about) + "\n.SH SYNOPSIS\n.nh\n.ad l\n";
    if (program.commands.empty()) addSynopsis(page, name, program.whole);
    for (const auto& command : program.commands)
        addSynopsis(page, name + " " + command.name, command);
    page += ".ad\n.hy\n";
    const auto add = [&](const Section& section) {
        page += ".SH \"" + upper(section.title) + "\"\n";
        bool asItIs = false;
        for (const auto& line : section.lines) {
            const bool indented = line.rfind("    ", 0) == 0;
            if (indented != asItIs)
                page += indented ? ".RS 4\n.nf\n" : ".fi\n.RE\n";
            else if (!indented && &line != &section.lines.front())
                page += ".PP\n";
            asItIs = indented;
            page += plain(indented ? line.substr(4) : line) + "\n";
        }
        if (asItIs) page += ".fi\n.RE\n";
    };
    add(sections.front());
    if (program.commands.empty()) {
        page += ".SH OPTIONS\n";
        addWords(page, program.whole);
    } else {
        page += ".SH COMMANDS\n";
        for (const auto& command : program.commands) {
            page += ".SS " + bold(name + " " + command.name) + "\n" + plain(command.about) + "\n";
            addWords(page, command);
        }
        page += ".SH \"OPTIONS WITHOUT A COMMAND\"\n";
        addWords(page, program.whole);
    }
    for (std::size_t i = 1; i < sections.size(); ++i)
        add(sections[i]);
    return page;
}

std::vector<Section> commandLineSections() {
    return {
        {"description",
         {"A recording is a folder of WAV, BWF, RF64, AIFF or FLAC files that start together. It is never written to.",
          "The result goes to standard output, as a table for people or with --json for machines; progress and "
          "warnings go to standard error. A file appears whole or not at all."}},
        {"exit status",
         {"0: done. 1: the input is at fault; one line says what is wrong and what to do. 2: the words of the call are "
          "off."}},
        {"environment",
         {"XDG_DATA_DIRS: folders in which the sound bank that plays the demo is looked for, below sounds and "
          "soundfonts.",
          "XDG_CACHE_HOME: what is measured of a recording is kept in its folder spillwright (else in "
          "~/.cache/spillwright), at most 2 GiB, and may be deleted."}},
        {"examples",
         {"From the demo to rendered tracks:", "    spillwright-cli demo net-loft --to net-loft",
          "    spillwright-cli propose net-loft --allow flips --save flips.json",
          "    spillwright-cli render net-loft --setting flips.json --to rendered --sum sum.wav"}},
        {"see also", {"spillwright(1)"}},
    };
}

std::vector<Section> windowSections() {
    return {
        {"description",
         {"Opens a folder of tracks that were recorded together in one room, measures every pair of them, and lets you "
          "flip and nudge tracks while you hear the sum. The key F1 says what is seen, ? shows the keys.",
          "The recording is never written to. Playback starts quietly."}},
        {"exit status",
         {"0: done. 1: a picture could not be written. 2: the words of the call are off, or there is no display."}},
        {"files",
         {"~/.config/spillwright: settings, what stands close to what, what is not saved, the demo; "
          "~/.cache/spillwright: what was measured, at most 2 GiB. The latter may be deleted."}},
        {"see also", {"spillwright-cli(1)"}},
    };
}

} // namespace spillwright::shell
