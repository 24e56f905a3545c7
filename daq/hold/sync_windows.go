package hold

// noDirectorySync: Windows keeps names by its own log and syncs no directory.
const noDirectorySync = true
