#pragma once

#include "Core/Result.h"
#include "Core/Workers.h"

#include <filesystem>
#include <functional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

bool isThere(const std::filesystem::path& path); ///< A link that leads nowhere too.
bool isFolder(const std::filesystem::path& path);
/// Whatever the two are called; what is not there is not the same.
bool sameFolder(const std::filesystem::path& a, const std::filesystem::path& b);
/// As they are written, whether there is something or not.
bool samePath(const std::filesystem::path& a, const std::filesystem::path& b);

/// Files that belong together: all are made under temporary names, then all take their own names, or none.
class Batch {
public:
    Batch() = default;
    ~Batch(); ///< What was not kept is gone, and so are folders that were made for it.
    Batch(const Batch&) = delete;
    Batch& operator=(const Batch&) = delete;

    /// Makes the folder where it is absent.
    Outcome makeFolder(const std::filesystem::path& folder);

    /// Whether a file may be made there. Faults: a folder, a device or a pipe, a file of this batch, a file that is
    /// there already and not to be replaced.
    Outcome checkTarget(const std::filesystem::path& target, bool replace) const;

    /// A finished file whose bytes are at `place`; `keep` gives it its name.
    void add(const std::filesystem::path& target, std::filesystem::path place, std::function<Outcome()> keep);

    /// One file more: the lines, each after "# ", and the SHA-256 of every file so far, in the form that
    /// "sha256sum --check" reads in the folder of `target`. Reads them all. Faults: no room, not allowed, a stop.
    Outcome addNotes(const std::filesystem::path& target, std::span<const std::string> lines, const Watch& watch);

    /// One file more, of this text. Faults: no room, not allowed.
    Outcome addText(const std::filesystem::path& target, std::string_view text);
    /// All files and folders of the other batch, which is empty then: they are kept with those of this one.
    void takeOver(Batch& other);

    /// Old files step aside, new ones take their names; where one cannot, all is as before.
    Outcome keepAll();

private:
    struct File {
        std::filesystem::path target, place;
        std::function<Outcome()> keep;
    };
    bool has(const std::filesystem::path& target) const;

    std::vector<std::filesystem::path> madeFolders;
    std::vector<File> files;
};

/// What `prepare`, a Result, has put into its batch takes its names at once, or nothing does.
template <class Prepare>
auto keptTogether(const Prepare& prepare) {
    Batch batch;
    auto report = prepare(batch);
    if (report)
        if (auto kept = batch.keepAll(); !kept) report = kept.fault();
    return report;
}

} // namespace spillwright
