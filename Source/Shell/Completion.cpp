#include "Shell/Completion.h"

#include <algorithm>
#include <regex>

namespace spillwright::shell {

namespace {

/// A word of a shell, whatever it holds.
std::string quoted(const std::string& text) {
    std::string result = "'";
    for (const char c : text)
        result += c == '\'' ? std::string("'\\''") : std::string(1, c);
    return result + "'";
}

std::string joined(const std::vector<std::string>& texts, const char* between) {
    std::string result;
    for (const auto& text : texts)
        result += (result.empty() ? "" : between) + text;
    return result;
}

/// The name of a shell function.
std::string functionName(const std::string& program) {
    auto name = "_" + program;
    std::replace(name.begin(), name.end(), '-', '_');
    return name;
}

bool isListed(const Word& word) {
    return word.byPlace && word.value == "NAME";
}

const Word* placeOf(const Command& command) {
    return command.places.empty() ? nullptr : &command.places.front();
}

std::vector<const Command*> partsOf(const Program& program) {
    std::vector<const Command*> parts{&program.whole};
    for (const auto& command : program.commands)
        parts.push_back(&command);
    return parts;
}

// ---- bash

std::string bashValue(const Word& word) {
    if (!word.choices.empty()) {
        std::string line = "%among";
        for (const auto& choice : word.choices)
            line += " " + quoted(choice);
        return line;
    }
    const auto paths = pathsOf(word);
    std::string line;
    if (paths.files)
        line = joined(
            [&] {
                std::vector<std::string> calls;
                for (const auto& ending : paths.endings)
                    calls.push_back("%paths -f -X " + quoted("!*" + ending));
                if (!calls.empty()) calls.emplace_back("%paths -d"); // on the way to the file
                if (calls.empty()) calls.emplace_back("%paths -f");
                return calls;
            }(),
            "; ");
    if (paths.folders && line.find("%paths -d") == std::string::npos)
        line += (line.empty() ? "" : "; ") + std::string("%paths -d");
    return line;
}

// ---- zsh

std::string zshEscaped(const std::string& text) {
    std::string result;
    for (const char c : text) {
        if (c == ':' || c == '[' || c == ']' || c == '\\') result += '\\';
        result += c;
    }
    return result;
}

/// What is done to complete the value, as _arguments takes it.
std::string zshValue(const Word& word, const Program& program) {
    if (!word.choices.empty()) {
        std::string list;
        for (const auto& choice : word.choices) {
            for (const char c : choice)
                list += c == ' ' ? std::string("\\ ") : std::string(1, c);
            list += ' ';
        }
        list.pop_back();
        return "(" + list + ")";
    }
    if (isListed(word)) return functionName(program.whole.name) + "_names";
    const auto paths = pathsOf(word);
    if (paths.files && !paths.endings.empty()) {
        std::vector<std::string> patterns;
        for (const auto& ending : paths.endings)
            patterns.push_back("*" + ending);
        return "_files -g \"" + joined(patterns, " ") + "\"";
    }
    if (paths.files) return "_files";
    if (paths.folders) return "_files -/";
    return " "; // nothing is known of it
}

std::string zshArguments(const Command& command, const Program& program) {
    std::string lines;
    for (const auto& word : command.options)
        for (const auto& name : word.names) {
            std::string spec = (word.repeated ? "*" : "") + name + "[" + zshEscaped(word.about) + "]";
            if (!word.value.empty()) spec += ":" + zshEscaped(word.value) + ":" + zshValue(word, program);
            lines += " \\\n            " + quoted(spec);
        }
    if (const auto* place = placeOf(command))
        lines += " \\\n            " +
                 quoted((place->repeated ? "*:" : "1:") + zshEscaped(place->about) + ":" + zshValue(*place, program));
    return "_arguments -s" + lines + "\n";
}

// ---- fish

std::string fishQuoted(const std::string& text) {
    std::string result = "'";
    for (const char c : text)
        result += c == '\'' || c == '\\' ? std::string("\\") + c : std::string(1, c);
    return result + "'";
}

std::string fishValue(const Word& word) {
    if (!word.choices.empty()) {
        std::vector<std::string> list;
        for (const auto& choice : word.choices)
            list.push_back(fishQuoted(choice));
        return " -x -a " + fishQuoted(joined(list, " "));
    }
    const auto paths = pathsOf(word);
    if (paths.files && !paths.endings.empty()) {
        std::vector<std::string> patterns{"/"}; // folders, on the way to the file
        for (const auto& ending : paths.endings)
            patterns.push_back("\\" + ending);
        return " -x -a " + fishQuoted("(__fish_complete_path (commandline -ct) | string match -r \"^[^\\t]*(?:" +
                                      joined(patterns, "|") + ")(?:\\t.*)?\\$\")");
    }
    if (paths.files) return " -r -F";
    if (paths.folders) return " -x -a '(__fish_complete_directories)'";
    return " -x";
}

} // namespace

std::string bashCompletion(const Program& program) {
    const auto function = functionName(program.whole.name);
    std::string text =
        "# bash completion of " + program.whole.name + "; written from its own table of words\n" + function +
        "() {\n"
        R"sh(    local current=${COMP_WORDS[COMP_CWORD]} previous=${COMP_WORDS[COMP_CWORD - 1]} command= word
    COMPREPLY=()
    if [[ $current == = ]]; then # --option=
        current=
    elif [[ $previous == = ]]; then # --option=value
        previous=${COMP_WORDS[COMP_CWORD - 2]}
    fi
    %among() {
        local typed=${current//\\/}
        for word in "$@"; do
            [[ $word == "$typed"* ]] && COMPREPLY+=("$(printf %q "$word")")
        done
    }
    %paths() {
        local found
        mapfile -t found < <(compgen "$@" -- "$current")
        COMPREPLY+=("${found[@]}")
        compopt -o filenames 2>/dev/null
    }
    %listed() {
        local lines=() line
        while IFS= read -r line; do
            [[ $line != ' '* ]] && lines+=("${line%%  *}")
        done < <("${COMP_WORDS[0]}" "$1" 2>/dev/null)
        %among "${lines[@]}"
    }
)sh";
    if (!program.commands.empty()) text += "    ((COMP_CWORD > 1)) && command=${COMP_WORDS[1]}\n";
    text += "    case \"$command $previous\" in\n";
    const auto nameIn = [&](const Command* part) { return part == &program.whole ? std::string() : part->name; };
    for (const auto* part : partsOf(program))
        for (const auto& word : part->options) {
            if (word.value.empty()) continue;
            std::vector<std::string> patterns;
            for (const auto& name : word.names)
                patterns.push_back(quoted(nameIn(part) + " " + name));
            const auto value = bashValue(word);
            text += "        " + joined(patterns, " | ") + ") " + (value.empty() ? "" : value + "; ") + "return ;;\n";
        }
    text += "    esac\n    case \"$command\" in\n";
    for (const auto* part : partsOf(program)) {
        std::string options, rest;
        for (const auto& word : part->options)
            for (const auto& name : word.names)
                options += " " + name;
        if (part == &program.whole && !program.commands.empty()) {
            rest = "%among";
            for (const auto& command : program.commands)
                rest += " " + command.name;
        } else if (const auto* place = placeOf(*part)) {
            rest = isListed(*place) ? "%listed " + part->name : bashValue(*place);
        }
        text += "        " + quoted(nameIn(part)) + ") if [[ $current == -* ]]; then %among" + options + "; else " +
                (rest.empty() ? ":" : rest) + "; fi ;;\n";
    }
    text += "    esac\n}\ncomplete -F " + function + " " + program.whole.name + "\n";
    // The helpers are functions of the user's shell from then on, and so bear the program's name.
    return std::regex_replace(text, std::regex("%(among|paths|listed)"), function + "_$1");
}

std::string zshCompletion(const Program& program) {
    const auto& name = program.whole.name;
    const auto function = functionName(name);
    std::string text = "#compdef " + name + "\n# written from its own table of words\n";
    if (program.commands.empty())
        return text + function + "() {\n    " + zshArguments(program.whole, program) + "}\n" + function + " \"$@\"\n";
    text += function +
            "_names() {\n"
            "    local -a found\n"
            "    found=(${${(f)\"$(_call_program names " +
            name + " $words[1] 2>/dev/null)\"}:#' '*})\n    found=(${found%%  *})\n    compadd -a found\n}\n";
    text += function + "() {\n    local line state\n    local -a commands\n    commands=(\n";
    for (const auto& command : program.commands)
        text += "        " + quoted(zshEscaped(command.name) + ":" + command.about) + "\n";
    text += "    )\n    _arguments -C \\\n";
    for (const auto& word : program.whole.options)
        for (const auto& option : word.names)
            text += "        " + quoted("(- *)" + option + "[" + zshEscaped(word.about) + "]") + " \\\n";
    text += "        '1: :->command' '*::word:->words'\n    case $state in\n"
            "    command) _describe command commands ;;\n    words)\n        case $words[1] in\n";
    for (const auto& command : program.commands)
        text += "        " + command.name + ") " + zshArguments(command, program) + "            ;;\n";
    return text + "        esac ;;\n    esac\n}\n" + function + " \"$@\"\n";
}

std::string fishCompletion(const Program& program) {
    const auto& name = program.whole.name;
    std::string text =
        "# fish completion of " + name + "; written from its own table of words\ncomplete -c " + name + " -f\n";
    for (const auto* part : partsOf(program)) {
        const bool whole = part == &program.whole;
        std::string when;
        if (!program.commands.empty())
            when = whole ? " -n __fish_use_subcommand" : " -n " + quoted("__fish_seen_subcommand_from " + part->name);
        if (!whole)
            text += "complete -c " + name + " -n __fish_use_subcommand -a " + part->name + " -d " +
                    fishQuoted(part->about) + "\n";
        for (const auto& word : part->options) {
            text += "complete -c " + name + when;
            for (const auto& option : word.names)
                text += option.rfind("--", 0) == 0 ? " -l " + option.substr(2) : " -s " + option.substr(1);
            text += (word.value.empty() ? "" : fishValue(word)) + " -d " + fishQuoted(word.about) + "\n";
        }
        if (const auto* place = placeOf(*part)) {
            const auto value =
                isListed(*place)
                    ? " -x -a " + fishQuoted("(" + name + " " + part->name +
                                             " 2>/dev/null | string match -rv '^ ' | string replace -r '  .*' '')")
                    : fishValue(*place);
            text += "complete -c " + name + when + value + "\n";
        }
    }
    return text;
}

} // namespace spillwright::shell
