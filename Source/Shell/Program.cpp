#include "Shell/Program.h"

#include <CLI/CLI.hpp>

namespace spillwright::shell {

namespace {

Word wordOf(const CLI::Option& option) {
    Word word;
    word.about = option.get_description();
    word.required = option.get_required();
    word.byPlace = !option.nonpositional();
    for (const auto& name : option.get_lnames())
        word.names.push_back("--" + name);
    for (const auto& name : option.get_snames())
        word.names.push_back("-" + name);
    if (word.byPlace) word.names = {option.get_name(true)};
    word.repeated =
        option.get_items_expected_max() > 1 || option.get_multi_option_policy() == CLI::MultiOptionPolicy::TakeAll;
    if (option.get_items_expected_max() == 0) return word;
    if (word.byPlace) {
        word.value = word.names.front();
        return word;
    }
    // NAME, or NAME:{this,that} where there are choices, or NAME:what is checked.
    const auto type = option.get_type_name();
    const auto checked = type.find(":{");
    const auto range = type.find(":INT in ");
    word.value = type.substr(0, std::min(checked, range));
    if (checked != std::string::npos && type.back() == '}')
        word.choices = CLI::detail::split(type.substr(checked + 2, type.size() - checked - 3), ',');
    return word;
}

Command commandOf(const CLI::App& table) {
    Command command{table.get_name(), table.get_description(), {}, {}};
    for (const auto* option : table.get_options()) {
        auto word = wordOf(*option);
        (word.byPlace ? command.places : command.options).push_back(std::move(word));
    }
    return command;
}

} // namespace

Program programOf(const CLI::App& table) {
    Program program{commandOf(table), {}};
    for (const auto* command : table.get_subcommands([](const CLI::App*) { return true; }))
        program.commands.push_back(commandOf(*command));
    return program;
}

Paths pathsOf(const Word& word) {
    Paths paths;
    for (const auto& alternative : CLI::detail::split(word.value, '|')) {
        if (alternative == "FOLDER") paths.folders = true;
        if (alternative.rfind("FILE", 0) != 0) continue;
        paths.files = true;
        if (alternative.size() > 4) paths.endings.push_back(alternative.substr(4));
    }
    return paths;
}

} // namespace spillwright::shell
