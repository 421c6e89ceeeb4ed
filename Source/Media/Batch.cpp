#include "Media/Batch.h"

#include "Media/Checksum.h"
#include "Session/Files.h"

#include <algorithm>
#include <iterator>
#include <memory>

namespace spillwright {

namespace fs = std::filesystem;

bool isThere(const fs::path& path) {
    std::error_code ignored;
    return fs::exists(fs::symlink_status(path, ignored));
}

bool isFolder(const fs::path& path) {
    std::error_code ignored;
    return fs::is_directory(path, ignored);
}

bool sameFolder(const fs::path& a, const fs::path& b) {
    std::error_code error;
    return fs::equivalent(a, b, error) && !error;
}

bool samePath(const fs::path& a, const fs::path& b) {
    return fs::absolute(a).lexically_normal() == fs::absolute(b).lexically_normal();
}

Outcome Batch::makeFolder(const fs::path& folder) {
    std::vector<fs::path> absent;
    for (fs::path path = fs::absolute(folder).lexically_normal(); !path.empty() && !isThere(path);
         path = path.parent_path())
        absent.push_back(path);
    for (auto path = absent.rbegin(); path != absent.rend(); ++path) {
        std::error_code error;
        if (fs::create_directory(*path, error)) madeFolders.push_back(*path);
        if (error)
            return Fault{shownPath(folder), "cannot be made: " + reasonOf(error),
                         "choose a folder that can be written to"};
    }
    if (!isFolder(folder)) return Fault{shownPath(folder), "is not a folder", "name a folder"};
    return done();
}

bool Batch::has(const fs::path& target) const {
    return std::any_of(files.begin(), files.end(), [&](const File& file) { return samePath(file.target, target); });
}

Outcome Batch::checkTarget(const fs::path& target, bool replace) const {
    if (isFolder(target)) return Fault{shownPath(target), "is a folder", "choose another name or folder"};
    if (has(target)) return Fault{shownPath(target), "is the file of a track too", "choose another name"};
    std::error_code ignored;
    const auto status = fs::symlink_status(target, ignored);
    if (fs::exists(status) && !fs::is_regular_file(status) && !fs::is_symlink(status)) // a device, a pipe
        return Fault{shownPath(target), "is not a regular file", "choose another name"};
    if (!replace && isThere(target))
        return Fault{shownPath(target), "is there already", "choose another folder, or allow it to be replaced"};
    return done();
}

void Batch::add(const fs::path& target, fs::path place, std::function<Outcome()> keep) {
    files.push_back({target, std::move(place), std::move(keep)});
}

Outcome Batch::addNotes(const fs::path& target, std::span<const std::string> lines, const Watch& watch) {
    std::string text;
    for (const auto& line : lines)
        text += (line.empty() ? "#" : "# " + oneLine(line)) + "\n";
    text += "#\n# SHA-256 of each file; check them with: sha256sum --check \"" + shownPath(target.filename()) + "\"\n";
    const auto from = fs::absolute(target).lexically_normal().parent_path();
    for (const File& file : files) {
        const auto sum = sha256Of(file.place, watch);
        if (!sum) {
            auto fault = sum.fault();
            fault.where = shownPath(file.target); // not the name that it bears meanwhile
            return fault;
        }
        text += checksumLine(*sum, fs::absolute(file.target).lexically_normal().lexically_proximate(from));
    }
    return addText(target, text);
}

Outcome Batch::addText(const fs::path& target, std::string_view text) {
    auto created = OutputFile::create(target);
    if (!created) return created.fault();
    auto output = std::make_shared<OutputFile>(std::move(*created));
    if (auto written = output->write(std::as_bytes(std::span(text))); !written) return written;
    if (auto finished = output->finish(); !finished) return finished;
    add(target, output->place(), [output] { return output->keep(); });
    return done();
}

void Batch::takeOver(Batch& other) {
    std::ranges::move(other.madeFolders, std::back_inserter(madeFolders));
    std::ranges::move(other.files, std::back_inserter(files));
    other.madeFolders.clear();
    other.files.clear();
}

Outcome Batch::keepAll() {
    struct Kept {
        fs::path target, old;
    };
    std::vector<Kept> kept;
    const auto undo = [&] {
        std::error_code ignored;
        for (auto file = kept.rbegin(); file != kept.rend(); ++file) {
            if (file->old.empty()) {
                fs::remove(file->target, ignored);
                continue;
            }
            fs::rename(file->old, file->target, ignored);
            if (!ignored) fs::remove(file->old, ignored); // two names of one file both stay
        }
    };
    for (const auto& file : files) {
        Kept step{file.target, {}};
        if (isThere(file.target)) {
            // A second name keeps the old file until all is done, and the first one is never without a file. Where the
            // file system knows no second names, the old one steps aside.
            step.old = temporaryBeside(file.target);
            std::error_code error;
            fs::create_hard_link(file.target, step.old, error);
            if (error) {
                step.old = asideOf(file.target);
                fs::rename(file.target, step.old, error);
            }
            if (error) {
                undo();
                return Fault{shownPath(file.target), "cannot be replaced: " + reasonOf(error), "choose another folder"};
            }
        }
        kept.push_back(step);
        if (auto named = file.keep(); !named) {
            undo();
            return named;
        }
    }
    std::error_code ignored;
    for (const Kept& file : kept)
        if (!file.old.empty()) fs::remove(file.old, ignored);
    return done();
}

Batch::~Batch() {
    files.clear(); // temporary files first, then the folders that were made and have stayed empty
    std::error_code ignored;
    for (auto folder = madeFolders.rbegin(); folder != madeFolders.rend(); ++folder)
        fs::remove(*folder, ignored);
}

} // namespace spillwright
