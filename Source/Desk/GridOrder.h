#pragma once

#include "Desk/Controller.h"

#include <vector>

namespace spillwright::desk {

enum class GridOrder { file, likeness, spill };

/// "by likeness"
const char* nameOf(GridOrder order);
GridOrder after(GridOrder order);

/// All tracks of the recording. By likeness: coherent ones are neighbours; by spill: the largest share first. Tracks of
/// which that is not known come last, in the order of the files.
std::vector<int> tracksIn(GridOrder order, const Controller& controller);

} // namespace spillwright::desk
