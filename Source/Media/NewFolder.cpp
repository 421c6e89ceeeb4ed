#include "Media/NewFolder.h"

#include "Session/Files.h"

#include <system_error>
#include <utility>

namespace spillwright {

namespace fs = std::filesystem;

Result<NewFolder> NewFolder::beside(const fs::path& wanted) {
    NewFolder folder;
    std::error_code error;
    folder.target = fs::absolute(wanted, error).lexically_normal();
    if (!folder.target.has_filename()) folder.target = folder.target.parent_path();
    const std::string where = shownPath(wanted);
    if (fs::exists(folder.target, error)) {
        if (!fs::is_directory(folder.target, error)) return Fault{where, "is a file", "name a folder"};
        if (!fs::is_empty(folder.target, error) || error)
            return Fault{where, "this folder is not empty", "name an empty or a new one"};
    }
    fs::create_directories(folder.target.parent_path(), error);
    folder.partial = temporaryBeside(folder.target);
    if (!error) error = createPrivateFolder(folder.partial);
    if (error) return Fault{where, "cannot be made: " + reasonOf(error), "name a folder that can be written"};
    folder.owns = true;
    return folder;
}

NewFolder::NewFolder(NewFolder&& other) noexcept
    : target(std::move(other.target)), partial(std::move(other.partial)), owns(std::exchange(other.owns, false)) {}

NewFolder::~NewFolder() {
    std::error_code ignored;
    if (owns) fs::remove_all(partial, ignored);
}

Outcome NewFolder::keep() {
    std::error_code error;
    fs::remove(target, error); // an empty one may stand there
    error = takeName(partial, target);
    if (error)
        return Fault{shownPath(target), "cannot be made: " + reasonOf(error), "name a folder that can be written"};
    owns = false;
    return done();
}

} // namespace spillwright
