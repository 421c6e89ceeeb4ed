#pragma once

#include <filesystem>

namespace spillwright {

/// The folder `name` of what comes with the program and is read at run time (`Lessons`, `DemoSessions`).
/// Found from where the running program lies, so that an installed tree may be moved: the nearest
/// `share/spillwright/NAME` in the program's folder or in one above it. The build tree holds the same folders.
/// Empty where there is none. Reads the file system; any thread.
std::filesystem::path sharedData(const std::filesystem::path& name);

/// The same for a program that lies in the folder `programs`.
std::filesystem::path sharedData(const std::filesystem::path& name, const std::filesystem::path& programs);

} // namespace spillwright
