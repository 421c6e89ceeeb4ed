#pragma once

#include "Core/Result.h"

#include <filesystem>

namespace spillwright {

/// A folder that is filled under another name beside its place and then takes it, or leaves nothing behind.
class NewFolder {
public:
    /// Faults: the place is a file or a folder that is not empty; it cannot be made.
    static Result<NewFolder> beside(const std::filesystem::path& wanted);
    NewFolder(NewFolder&& other) noexcept;
    NewFolder& operator=(NewFolder&&) = delete;
    ~NewFolder();

    const std::filesystem::path& path() const { return partial; } ///< To be filled.
    Outcome keep();

private:
    NewFolder() = default;
    std::filesystem::path target;
    std::filesystem::path partial;
    bool owns = false;
};

} // namespace spillwright
