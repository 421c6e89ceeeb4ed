#pragma once

#include "Desk/Controller.h"

#include <string>
#include <vector>

namespace spillwright::desk {

enum class GridOrder { listed, likeness, spill };

/// "by likeness"; as listed: "by file" while the user has moved nothing in the list.
std::string nameOf(GridOrder order, const Controller& controller);
GridOrder after(GridOrder order);

/// All tracks of the recording. By likeness: coherent ones are neighbours; by spill: the largest share first. Tracks of
/// which that is not known come last, in the order of the list.
std::vector<int> tracksIn(GridOrder order, const Controller& controller);

} // namespace spillwright::desk
