#pragma once

#include "Core/Result.h"

#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <system_error>

namespace spillwright {

/// A text as a person reads it: UTF-8, with U+FFFD for whatever is not UTF-8, for what stands for no character and for
/// control characters but those named: also for those that break a line or turn the direction of all that follows.
std::string shownText(std::string_view text, std::string_view controlsThatStay = {});
/// A path as a person reads it, in one line: as shownText() has it.
std::string shownPath(const std::filesystem::path& path);

/// What the system says of an error, as it goes on after a colon.
std::string reasonOf(std::error_code error);

/// A hidden name in the folder of the target that nothing else bears and nobody can guess: short, as the target's own
/// may already be as long as the file system allows. What earlier runs that were killed have left there under such
/// names is removed.
std::filesystem::path temporaryBeside(const std::filesystem::path& target);

/// The same for a file that is there and steps aside: it is somebody's, and is never removed by another run.
std::filesystem::path asideOf(const std::filesystem::path& target);

/// A new folder that only this user may look into. Error: it cannot be made, or the name is taken.
std::error_code createPrivateFolder(const std::filesystem::path& path);
/// Folders of the program's own, as far as they are absent; the last for this user alone.
void makeOwnFolder(const std::filesystem::path& path);

/// Gives what was made privately its name and the permissions that go with it: those of the file it replaces, else the
/// usual ones.
std::error_code takeName(const std::filesystem::path& temporary, const std::filesystem::path& target);

/// A file that is read at any place, without a mapping: a file cut short meanwhile gives a short read, not a signal.
class InputFile {
public:
    static Result<InputFile> open(const std::filesystem::path& path);

    std::uint64_t size() const { return bytes; } ///< When it was opened.
    /// Reads up to out.size() bytes from `offset`; fewer only at the end of the file or on a fault of the disk.
    std::size_t readAt(std::uint64_t offset, std::span<std::byte> out);
    /// The first fault of the disk since the opening: the file itself may be whole.
    const std::optional<Fault>& diskFault() const { return failed; }
    /// Why readAt() gave too few bytes: the fault of the disk, else that the file was cut short.
    Fault shortRead() const;

private:
    struct Close {
        void operator()(std::FILE* f) const { std::fclose(f); }
    };
    InputFile() = default;
    std::unique_ptr<std::FILE, Close> file;
    std::string shown; ///< Its path.
    std::uint64_t bytes = 0;
    std::uint64_t position = 0;
    std::optional<Fault> failed;
};

/// A file that appears whole or not at all: written, for this user alone, under a hidden temporary name in the folder
/// of its target, brought to the disk, then renamed. What was not kept is removed again.
class OutputFile {
public:
    /// Faults: no such folder, not allowed, disk full.
    static Result<OutputFile> create(const std::filesystem::path& target);
    /// Writes to what is no regular file (a terminal, a pipe, a device) as it is; there is nothing to keep.
    static Result<OutputFile> over(const std::filesystem::path& device);
    OutputFile(OutputFile&& other) noexcept;
    OutputFile& operator=(OutputFile&&) = delete;
    ~OutputFile();

    Outcome write(std::span<const std::byte> bytes);
    Outcome seek(std::uint64_t offset);
    std::uint64_t position() const { return at; }

    Outcome finish(); ///< All bytes are on the disk; still under the temporary name.
    Outcome close();  ///< The same for what may be lost with the power: the system may still hold the bytes back.
    Outcome keep();   ///< After finish() or close(): takes the target's name; a file of that name is replaced.
    const std::filesystem::path& target() const { return targetPath; }
    /// Where the bytes are.
    const std::filesystem::path& place() const { return temporaryPath.empty() ? targetPath : temporaryPath; }

private:
    struct Close {
        void operator()(std::FILE* f) const { std::fclose(f); }
    };
    OutputFile() = default;
    Fault fault(int errorNumber) const;

    std::filesystem::path targetPath;
    std::filesystem::path temporaryPath; ///< Empty once kept.
    std::unique_ptr<std::FILE, Close> file;
    std::uint64_t at = 0;
};

} // namespace spillwright
